"""Plans and crossings to what people read: map, sheets, exports."""
