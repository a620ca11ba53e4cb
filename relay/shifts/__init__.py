"""Who is awake and who should go on: calendars and plans. Pure: instants in, instants out."""
