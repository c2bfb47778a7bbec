//! Which channels are taken of an input or a recording that has more.

use std::fmt;
use std::str::FromStr;

/// One channel, or two of which the first counts as left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pick {
    /// Counted from 0.
    first: u16,
    second: Option<u16>,
}

impl Pick {
    /// The first two of these, or the only one.
    pub fn usual(channels: u16) -> Self {
        Self {
            first: 0,
            second: (channels > 1).then_some(1),
        }
    }

    /// How many are taken.
    pub fn channels(self) -> u16 {
        1 + u16::from(self.second.is_some())
    }

    /// How many there must be.
    pub fn needs(self) -> u16 {
        1 + self.first.max(self.second.unwrap_or(0))
    }

    /// What is taken of a frame that has them all.
    pub(super) fn of<T: Copy>(self, frame: &[T]) -> impl Iterator<Item = T> {
        let taken = [Some(self.first), self.second].into_iter().flatten();
        taken.filter_map(|channel| frame.get(usize::from(channel)).copied())
    }
}

/// Counted from 1, as on the front of an interface: `3` or `3,4`.
impl FromStr for Pick {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let number = |text: &str| text.trim().parse::<u16>().ok().filter(|it| *it >= 1);
        let (first, second) = match text.split_once(',') {
            Some((first, second)) => (number(first), Some(number(second))),
            None => (number(text), None),
        };
        match (first, second) {
            (Some(first), None) => Ok(Self {
                first: first - 1,
                second: None,
            }),
            (Some(first), Some(Some(second))) if first != second => Ok(Self {
                first: first - 1,
                second: Some(second - 1),
            }),
            _ => Err("must be one channel by its number, such as 3, or two, such as 3,4".into()),
        }
    }
}

impl fmt::Display for Pick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.first + 1)?;
        match self.second {
            Some(second) => write!(f, ",{}", second + 1),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn channels_are_counted_as_on_the_front_of_an_interface() {
        let frame = [10, 20, 30, 40];
        for (text, taken, needs) in [
            ("3", &[30][..], 3),
            ("3,4", &[30, 40], 4),
            ("4, 1", &[40, 10], 4),
        ] {
            let pick: Pick = text.parse().unwrap();
            assert_eq!(pick.of(&frame).collect::<Vec<_>>(), taken, "{text}");
            assert_eq!(
                (pick.needs(), usize::from(pick.channels())),
                (needs, taken.len())
            );
        }
        assert_eq!(Pick::usual(6).of(&frame).collect::<Vec<_>>(), [10, 20]);
        assert_eq!(Pick::usual(1).channels(), 1);
        for odd in ["0", "3,3", "3,", ",3", "-1", "1,2,3", "70000", ""] {
            assert!(odd.parse::<Pick>().is_err(), "{odd}");
        }
    }
}
