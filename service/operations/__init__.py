"""Operation of the service: settings, logs, start and stop, heavy work, problems."""
