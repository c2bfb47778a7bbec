//! What is known of a note besides its speed, as plain values.

use serde::{Deserialize, Serialize};

use crate::units::{Hertz, Percent};

/// A regular wavering of the pitch: the player's vibrato or the machine's wow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Vibrato {
    /// Turns a second.
    pub rate: Hertz,
    /// Peak, to either side.
    pub depth: Percent,
}

/// Of a held note.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NoteFigures {
    /// `None` where the pitch does not waver regularly.
    pub vibrato: Option<Vibrato>,
    /// B of a stiff string, fₙ = n f₀ √(1 + B n²); 0 where none shows.
    pub stiffness: f64,
    /// Numbers of the partials that the speed was read from.
    pub partials: Vec<u32>,
}
