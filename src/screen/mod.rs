//! Floor 8: draws what it is given; never measures.
