"""The models that only the HTTP face gives or takes; routes and client share them."""
