//! Floor 5: files that must never be lost.
