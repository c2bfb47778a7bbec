//! Floor 6: readings and records as text and JSON, one file a format. Turns
//! values into strings; writes no file and measures nothing.
