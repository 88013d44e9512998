"""The app on top of the library: screens, no arithmetic."""
