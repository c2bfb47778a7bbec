//! What several recordings come to together: how many, the middle and the
//! spread of their figures, and those that stand out.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use super::numbers::{plain, signed};
use super::words::{counted, wrapped};
use crate::readings::Measurement;
use crate::signal::statistics::{NORMAL_95, median, robust_sigma};
use crate::units::Percent;

/// Beyond this many robust standard deviations from the median a value stands
/// out: the modified z-score of Iglewicz and Hoaglin (How to Detect and Handle
/// Outliers, 1993; from memory, also in the NIST/SEMATECH e-Handbook of
/// Statistical Methods, 1.3.5.17).
const STANDS_OUT: f64 = 3.5;

/// That is for many values; of few the spread is often found too small by
/// chance. With this share more ÷ n^1.5, one of 20 sets of n normal values has
/// one that stands out (tuned on n from 4 to 50; judged in the tests below).
const MORE_OF_FEW: f64 = 12.0;

/// The middle of fewer is no measure of what is usual.
const FEWEST: usize = 4;

/// Less than this, percent, is no scatter: half of the last digit shown.
const LEAST_SCATTER: f64 = 0.0005;

/// Files that are named one by one.
const MOST_NAMED: usize = 20;

/// A figure with its ± (95 %).
pub type Figure = (Percent, Option<Percent>);

/// What counts of a recording.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// Of speed.
    pub deviation: Option<Figure>,
    /// Weighted, two-sigma.
    pub flutter: Option<Figure>,
}

impl Figures {
    /// `None` where there are none.
    pub fn of(measurement: &Measurement) -> Option<Self> {
        let deviation = measurement.speed.as_ref();
        let flutter = &measurement.flutter;
        let figures = Self {
            deviation: deviation.map(|it| (it.deviation, it.uncertainty)),
            flutter: flutter
                .weighted_two_sigma
                .map(|it| (it, flutter.weighted_two_sigma_uncertainty)),
        };
        (measurement.signal.usable && figures != Self::default()).then_some(figures)
    }
}

/// What came of one of them.
#[derive(Clone, Debug, PartialEq)]
pub enum Came {
    /// It was measured.
    Measured(Figures),
    /// It holds no usable reference, or nothing else that was asked for.
    NoReference,
    /// It could not be read.
    NotRead,
}

/// The summary of recordings by their names.
pub fn summary(files: &[(&str, Came)]) -> String {
    let mut text = format!("{}\n", counts(files));
    let measured: Vec<(&str, &Figures)> = files
        .iter()
        .filter_map(|(name, came)| match came {
            Came::Measured(figures) => Some((*name, figures)),
            _ => None,
        })
        .collect();
    for (head, what, of) in [
        (
            "  Deviation  ",
            "deviation",
            (|it| it.deviation) as fn(&Figures) -> Option<Figure>,
        ),
        ("  Weighted   ", "weighted flutter", |it| it.flutter),
    ] {
        let figures = measured
            .iter()
            .filter_map(|(name, figures)| Some((*name, of(figures)?)))
            .collect::<Vec<_>>();
        if figures.len() > 1 {
            text.push_str(&spread(head, what, &figures));
        }
    }
    for (came, what) in [
        (Came::NoReference, "no usable reference"),
        (Came::NotRead, "could not be read"),
    ] {
        let names = files.iter().filter(|(_, it)| *it == came);
        let names: Vec<String> = names.map(|(name, _)| plain(name)).collect();
        text.push_str(&named("  Not        ", &names, |name| {
            format!("{name}: {what}")
        }));
    }
    text
}

fn counts(files: &[(&str, Came)]) -> String {
    let not = |which: &Came| files.iter().filter(|(_, came)| came == which).count() as u64;
    let (without, unread) = (not(&Came::NoReference), not(&Came::NotRead));
    let all = files.len() as u64;
    let mut text = counted(all, "recording", "recordings");
    if without + unread == 0 {
        text.push_str(", all measured");
        return text;
    }
    // Writing to a string cannot fail.
    let _ = write!(text, ", {} measured", all - without - unread);
    if without > 0 {
        let _ = write!(text, ", {without} without a usable reference");
    }
    if unread > 0 {
        let _ = write!(text, ", {unread} that could not be read");
    }
    text
}

/// A line with the middle and the spread, and a line for each that stands out.
fn spread(head: &str, what: &str, figures: &[(&str, Figure)]) -> String {
    let mut values: Vec<f64> = figures.iter().map(|(_, (value, _))| value.0).collect();
    let Some(middle) = median(&mut values) else {
        return String::new();
    };
    let scatter = robust_sigma(values.iter().map(|value| value - middle)).unwrap_or_default();
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shown = |value: f64| match what {
        "deviation" => signed(value, 3),
        _ => format!("{value:.3}"),
    };
    let mut text = wrapped(
        head,
        &format!(
            "median {} %, spread {scatter:.3} % (1.48 x median absolute deviation), from {} to {} %",
            shown(middle),
            shown(least),
            shown(most)
        ),
    );
    if figures.len() < FEWEST {
        return text;
    }
    let outliers: Vec<String> = figures
        .iter()
        .filter(|(_, figure)| stands_out(*figure, middle, scatter, figures.len()))
        // What is shown alike stands out to nobody.
        .filter(|(_, (value, _))| shown(value.0) != shown(middle))
        .map(|(name, (value, _))| format!("{}: {what} {} %", plain(name), shown(value.0)))
        .collect();
    text.push_str(&named("  Outlier    ", &outliers, Clone::clone));
    text
}

/// The value's own ± counts with the scatter of the others: where they all but
/// agree, what lies within it is not told from them.
fn stands_out((value, uncertainty): Figure, middle: f64, scatter: f64, count: usize) -> bool {
    let own = match uncertainty {
        Some(known) => known.0 / NORMAL_95,
        // The others have a scatter that speaks for it too, ...
        None if scatter > LEAST_SCATTER => 0.0,
        // ... or agree to the last digit, as copies do: nothing to go by.
        None => return false,
    };
    let far = STANDS_OUT * (1.0 + MORE_OF_FEW / (count as f64).powf(1.5));
    (value.0 - middle).abs() > far * scatter.hypot(own)
}

fn named(head: &str, names: &[String], say: impl Fn(&String) -> String) -> String {
    let mut text: String = names
        .iter()
        .take(MOST_NAMED)
        .map(|name| wrapped(head, &say(name)))
        .collect();
    if names.len() > MOST_NAMED {
        let more = names.len() - MOST_NAMED;
        text.push_str(&wrapped(head, &format!("and {more} more")));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng as _, SeedableRng as _};
    use rand_pcg::Pcg64Mcg;

    fn measured(deviation: f64, flutter: f64) -> Came {
        Came::Measured(Figures {
            deviation: Some((Percent(deviation), Some(Percent(0.01)))),
            flutter: Some((Percent(flutter), None)),
        })
    }

    fn of(came: &[Came]) -> String {
        let names: Vec<String> = (1..=came.len()).map(|n| format!("{n}.wav")).collect();
        let files: Vec<(&str, Came)> = names
            .iter()
            .map(String::as_str)
            .zip(came.iter().cloned())
            .collect();
        summary(&files)
    }

    #[test]
    fn what_is_shown_alike_stands_out_to_nobody() {
        let with_flutter = |flutter: f64| {
            Came::Measured(Figures {
                deviation: None,
                flutter: Some((Percent(flutter), Some(Percent(0.000_01)))),
            })
        };
        let mut files = vec![with_flutter(0.000_01); 6];
        files.push(with_flutter(0.000_4));
        assert!(!of(&files).contains("Outlier"), "{}", of(&files));
        files.push(with_flutter(0.004));
        assert_eq!(of(&files).matches("Outlier").count(), 1, "{}", of(&files));
    }

    #[test]
    fn one_that_stands_out_is_named_and_moves_neither_middle_nor_spread() {
        let mut files: Vec<Came> = [0.10, 0.12, 0.11, 0.09, 0.13]
            .map(|it| measured(it, it))
            .to_vec();
        let text = of(&files);
        assert!(text.starts_with("5 recordings, all measured\n"), "{text}");
        assert!(text.contains("median +0.110 %, spread 0.015 %"), "{text}");
        assert!(text.contains("from +0.090 to +0.130 %"), "{text}");
        assert!(!text.contains("Outlier"), "{text}");
        files.push(measured(-3.0, 0.12));
        files.push(Came::NotRead);
        files.push(Came::NoReference);
        let text = of(&files);
        let counts =
            "8 recordings, 6 measured, 1 without a usable reference, 1 that could not be read\n";
        assert!(text.starts_with(counts), "{text}");
        assert!(
            text.contains("Outlier    6.wav: deviation -3.000 %"),
            "{text}"
        );
        assert_eq!(text.matches("Outlier").count(), 1, "{text}");
        assert!(
            text.contains("Not        7.wav: could not be read"),
            "{text}"
        );
        assert!(
            text.contains("Not        8.wav: no usable reference"),
            "{text}"
        );
        assert!(text.lines().all(|line| line.len() <= 80), "{text}");
    }

    #[test]
    fn files_that_agree_to_the_last_digit_have_no_outlier_within_their_own_uncertainty() {
        let mut files = vec![measured(0.1, 0.1); 9];
        files.push(measured(0.111, 0.1));
        assert!(!of(&files).contains("Outlier"), "{}", of(&files));
        files.push(measured(0.15, 0.1));
        assert!(of(&files).contains("Outlier    11.wav"), "{}", of(&files));
    }

    /// Three copies of one recording and another one.
    #[test]
    fn without_an_uncertainty_nothing_stands_out_from_copies() {
        let mut files = vec![measured(0.1, 0.100); 3];
        files.push(measured(0.1, 0.104));
        assert!(!of(&files).contains("Outlier"), "{}", of(&files));
    }

    #[test]
    fn of_normal_values_hardly_a_set_has_one_that_stands_out() {
        let mut dice = Pcg64Mcg::seed_from_u64(20);
        for count in [4, 5, 7, 11, 25, 40] {
            let mut named = 0;
            for _ in 0..2000 {
                let mut normal = || {
                    // Twelve even ones make a normal one, near enough.
                    let even: f64 = (0..12).map(|_| f64::from(dice.next_u32())).sum();
                    even / f64::from(u32::MAX) - 6.0
                };
                let values: Vec<f64> = (0..count).map(|_| normal()).collect();
                let figures: Vec<(&str, Figure)> = values
                    .iter()
                    .map(|value| ("", (Percent(*value), None)))
                    .collect();
                let text = spread("", "deviation", &figures);
                named += usize::from(text.contains("Outlier"));
            }
            assert!(named < 160, "{named} of 2000 sets of {count}");
            assert!(named > 20, "{named} of 2000 sets of {count}");
        }
    }

    #[test]
    fn of_very_many_only_some_are_named() {
        let text = of(&vec![Came::NotRead; 1000]);
        assert_eq!(text.lines().count(), 1 + MOST_NAMED + 1, "{text}");
        assert!(text.contains("and 980 more"), "{text}");
    }
}
