"""Files to checked tables; what was assumed is listed row by row."""
