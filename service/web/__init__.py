"""The pages for people: hand-written HTML, CSS and JavaScript modules, served as they stand."""
