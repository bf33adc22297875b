"""Planning a trial: randomise, map, sheets, calendar, and how much is enough."""
