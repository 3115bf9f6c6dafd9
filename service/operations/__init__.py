"""Running the service: settings, logs, start and stop, places for heavy work, problems."""
