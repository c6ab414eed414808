"""What a retuned file kept of its original, apart from pitch: notes, events, what is in force for each note."""
