//! What can be wrong with a transport.

use super::noise::{Purpose, Random};

/// What is wrong with the transport.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PartFault {
    /// Nothing.
    #[default]
    None,
    /// A capstan or its flywheel, bent or dirty.
    Capstan,
    /// A flat or hard pinch roller.
    PinchRoller,
    /// A belt with a joint or a set in it.
    Belt,
    /// A motor that cogs or is out of balance.
    Motor,
    /// A reel, its table or its clutch: the rate goes with the pack.
    Reel,
    /// An idler or a guide roller.
    Idler,
    /// Ripple of the mains in the motor's supply: it keeps its rate.
    Ripple,
    /// A governor that hunts.
    Hunting,
    /// Cells that run down: the speed falls over minutes.
    TiredCells,
    /// The two channels are apart in time.
    Azimuth,
}

impl PartFault {
    /// All that can be wrong.
    pub const ALL: [Self; 10] = [
        Self::Capstan,
        Self::PinchRoller,
        Self::Belt,
        Self::Motor,
        Self::Reel,
        Self::Idler,
        Self::Ripple,
        Self::Hunting,
        Self::TiredCells,
        Self::Azimuth,
    ];

    /// One of them by chance.
    pub fn of_seed(seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::PartFault);
        Self::ALL[(random.unit() * Self::ALL.len() as f64) as usize]
    }

    /// What an owner says of it, after what is said of the speed.
    pub(super) fn complaint(self) -> Option<&'static str> {
        Some(match self {
            Self::None => return None,
            Self::Azimuth => "in mono the treble is gone",
            Self::TiredCells => "it tires as it plays",
            Self::Motor | Self::Ripple => "voices are hoarse",
            Self::Capstan | Self::Idler => "held notes flutter",
            Self::PinchRoller | Self::Belt | Self::Reel | Self::Hunting => "held notes waver",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_gives_every_fault() {
        for fault in PartFault::ALL {
            let seeds = (0..200).filter(|seed| PartFault::of_seed(*seed) == fault);
            assert!(seeds.count() > 5, "{fault:?}");
        }
    }
}
