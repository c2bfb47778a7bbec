//! Floor 3: what "right" means.
//!
//! Parses what the user says about the reference and the tolerance, and hands
//! [`crate::readings::Conditions`] down to the engine. Measures nothing.
//! Limits of what may be said are choices, wide of anything in use.

mod card_text;
mod choice;
pub mod evidence;
pub mod faults;
mod machine_name;
mod note;
pub mod parts;
pub mod supply;
mod tape_card;
mod tape_speed;
mod tolerance;

pub use card_text::CardTextError;
pub use choice::{Reference, ReferenceParseError};
pub use machine_name::same_machine;
pub use note::{CONCERT_PITCH, Note, NoteError, at_pitch};
pub use tape_card::{Found, OwnSpeed, TapeCard, WithUncertainty};
pub use tape_speed::{SpeedError, SpeedTarget, TapeSpeed};
pub use tolerance::{MachineClass, Tolerance, ToleranceError};
