"""Files of sunshine, or of what panels gave, read into one number a day; `reading` is the way in."""
