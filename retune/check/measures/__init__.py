"""What is measured on notes with pitches over time, wherever they come from: purity, stillness, lines."""
