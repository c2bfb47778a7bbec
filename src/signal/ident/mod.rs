//! A tape says by itself where, when and with what it was recorded: a burst of
//! two tones in turn, our own scheme.
//!
//! Two tones, 800 Hz for 0 and 1200 Hz for 1, stand for 10 ms a bit: 8 or 12
//! whole turns, so that the phase never breaks. They lie far above hum and
//! rumble, and far enough below the treble that a dirty head loses. Their
//! ratio of 1.5 outlives any speed of the machine.
//!
//! A copy begins with 0.4 s of the lower tone, from which a listener learns
//! the speed, then 24 bits that are met by chance hardly ever, then the
//! message with a checksum of 32 bits, most significant bit first: one octet
//! with the version (3 bits) and the length of the name, two with the date,
//! four with the frequency in thousandths of a hertz, the name in UTF-8, four
//! of checksum. A burst holds two copies; where both are damaged, what both
//! say together often is whole.

mod band;
mod burst;
mod doze;
mod ear;
mod frame;
mod message;
mod values;

pub use burst::IdentBurst;
pub use ear::IdentEar;
pub use frame::{Ident, IdentError, LONGEST_NAME};

/// The tones of 0 and 1 at right speed, in hertz.
const TONES_HZ: [f64; 2] = [800.0, 1200.0];

/// Bits a second at right speed.
const BITS_HZ: f64 = 100.0;

/// Bits of the lower tone that a copy begins with.
const LEAD_BITS: usize = 40;

/// What follows them; its 24 bits agree with themselves, moved by any number
/// of bits, or with the lead before them, in 13 places at most (found by
/// trying words at random).
const SYNC: u32 = 0x00e6_0e96;
const SYNC_BITS: usize = 24;

/// The bits of [`SYNC`] in their order.
fn sync_bits() -> impl DoubleEndedIterator<Item = bool> {
    (0..SYNC_BITS).rev().map(|bit| SYNC >> bit & 1 == 1)
}
