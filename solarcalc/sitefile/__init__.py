"""The site file: the one place where a user's words become a validated record."""
