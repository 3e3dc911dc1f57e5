package shop

// Through is the moment after an entry.
func Through(seq int64) AsOf { return AsOf{through: seq} }
