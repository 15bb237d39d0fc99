"""The drums: ride, comments, fills and set-ups, scored so that two hands and feet can play them."""
