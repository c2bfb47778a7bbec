//! Tolerance bands by class of machine.

use std::fmt;
use std::str::FromStr;

use crate::units::Percent;

/// Classes of machine and the speed error that a freshly set one is allowed.
/// Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MachineClass {
    /// Battery portables: ±1 %.
    Portable,
    /// Mains decks: ±0.5 %.
    Deck,
    /// Studio machines: ±0.1 %.
    Professional,
}

/// Half width of the band in which a speed counts as right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Half width.
    pub half_width: Percent,
    /// The class it was chosen by, if any.
    pub class: Option<MachineClass>,
}

/// Why a tolerance was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error(
    "\"{0}\" is no tolerance; write portable (1 %), deck (0.5 %), professional (0.1 %), or a half width in percent between 0.005 and 10"
)]
pub struct ToleranceError(String);

impl MachineClass {
    /// All classes, widest band first.
    pub const ALL: [Self; 3] = [Self::Portable, Self::Deck, Self::Professional];

    /// The name used on the command line and on screen.
    pub fn name(self) -> &'static str {
        match self {
            Self::Portable => "portable",
            Self::Deck => "deck",
            Self::Professional => "professional",
        }
    }

    /// The band.
    pub fn tolerance(self) -> Tolerance {
        let half_width = match self {
            Self::Portable => Percent(1.0),
            Self::Deck => Percent(0.5),
            Self::Professional => Percent(0.1),
        };
        Tolerance {
            half_width,
            class: Some(self),
        }
    }
}

impl Default for Tolerance {
    /// A mains deck's, where nobody has said.
    fn default() -> Self {
        MachineClass::Deck.tolerance()
    }
}

impl Tolerance {
    /// Of this half width; by the class that has it, if one has.
    pub fn of_half_width(half_width: Percent) -> Self {
        let mut classes = MachineClass::ALL.into_iter().map(MachineClass::tolerance);
        classes
            .find(|it| it.half_width == half_width)
            .unwrap_or(Self {
                half_width,
                class: None,
            })
    }

    /// The next class, for a key that goes round.
    pub fn next_class(self) -> Self {
        let after = match self.class {
            Some(MachineClass::Portable) => MachineClass::Deck,
            Some(MachineClass::Deck) => MachineClass::Professional,
            Some(MachineClass::Professional) | None => MachineClass::Portable,
        };
        after.tolerance()
    }
}

impl FromStr for Tolerance {
    type Err = ToleranceError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if let Some(class) = MachineClass::ALL.iter().find(|class| class.name() == text) {
            return Ok(class.tolerance());
        }
        match text.trim_end_matches('%').trim().parse::<f64>() {
            Ok(percent) if (0.005..=10.0).contains(&percent) => Ok(Self {
                half_width: Percent(percent),
                class: None,
            }),
            _ => Err(ToleranceError(text.to_owned())),
        }
    }
}

impl fmt::Display for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.class {
            Some(class) => f.write_str(class.name()),
            None => write!(f, "{}", self.half_width.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_and_figures_are_understood() {
        let deck: Tolerance = "deck".parse().expect("a class");
        assert_eq!(deck.half_width, Percent(0.5));
        let figure: Tolerance = "0.25%".parse().expect("a figure");
        assert_eq!((figure.half_width, figure.class), (Percent(0.25), None));
        for text in ["", "tight", "0", "-1", "NaN", "11"] {
            assert!(text.parse::<Tolerance>().is_err(), "{text}");
        }
    }

    #[test]
    fn the_key_goes_round_all_classes() {
        let mut tolerance = MachineClass::Portable.tolerance();
        for _ in MachineClass::ALL {
            tolerance = tolerance.next_class();
        }
        assert_eq!(tolerance, MachineClass::Portable.tolerance());
    }
}
