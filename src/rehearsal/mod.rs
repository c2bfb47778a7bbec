//! Floor 4: a simulated tape machine whose true speed is known at every
//! sample. Invented throughout, deterministic from its seed; no clock, no I/O.
