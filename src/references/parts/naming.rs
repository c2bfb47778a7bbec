//! What a line is called, by the parts that it may come from.

use crate::readings::{FlutterLine, FlutterLines, LikelyPart, LineMotion};
use crate::units::Hertz;

/// Below this all parts together are no better than *don't know*. Practice.
const KNOWN: f64 = 0.5;
/// A part is named beside the first from this likelihood on...
const NAMED: f64 = 0.1;
/// ...and this part of the first one's.
const NAMED_BESIDE: f64 = 0.15;
/// From here on one name does without a question mark.
const PLAIN: f64 = 0.8;

/// Rates at which the mains ripple: once and twice a period, and thrice the
/// first, at 50 and at 60 Hz.
pub(super) const MAINS_HZ: [f64; 6] = [50.0, 60.0, 100.0, 120.0, 150.0, 180.0];
/// Mains are this near to their rate (common practice, no source).
pub(super) const MAINS_NEAR: f64 = 0.002;

/// What a line is called.
#[derive(Clone, Debug, PartialEq)]
pub enum Naming<'a> {
    /// It keeps its rate whatever the speed, at one of the mains.
    Mains(Hertz),
    /// The rate of the mains, and no part's of the card; whether it goes with
    /// the speed is not known.
    MainsPerhaps(Hertz),
    /// It keeps its rate whatever the speed, and the mains have another.
    KeepsRate,
    /// One part, likely enough to do without a question mark.
    Part(&'a LikelyPart),
    /// Parts in question, likeliest first, each once.
    Perhaps(Vec<&'a LikelyPart>),
    /// No part of the card has such a rate: don't know.
    NotOnCard,
    /// There was no card to look at.
    NoCard,
}

impl<'a> Naming<'a> {
    /// Of one of the lines.
    pub fn of(lines: &FlutterLines, line: &'a FlutterLine) -> Self {
        let mains = mains_of(line);
        if line.motion == LineMotion::KeepsRate {
            return mains.map_or(Self::KeepsRate, Self::Mains);
        }
        let together: f64 = line.parts.iter().map(|it| it.likelihood).sum();
        let named = named(&line.parts);
        match (&named[..], mains) {
            ([one], _) if together >= KNOWN && of_name(&line.parts, &one.name) >= PLAIN => {
                Self::Part(one)
            }
            ([_, ..], _) if together >= KNOWN => Self::Perhaps(named),
            (_, Some(mains)) if line.motion == LineMotion::NotTold => Self::MainsPerhaps(mains),
            _ if lines.card.is_some() => Self::NotOnCard,
            _ => Self::NoCard,
        }
    }

    /// The parts that are named, likeliest first.
    pub fn parts(&self) -> &[&'a LikelyPart] {
        match self {
            Self::Part(one) => std::slice::from_ref(one),
            Self::Perhaps(parts) => parts,
            _ => &[],
        }
    }
}

/// A part's likelihood over all its harmonics.
fn of_name(parts: &[LikelyPart], name: &str) -> f64 {
    let of_it = parts.iter().filter(|it| it.name == name);
    of_it.map(|it| it.likelihood).sum()
}

/// Each part that is worth a name, once, with its likeliest harmonic.
fn named(parts: &[LikelyPart]) -> Vec<&LikelyPart> {
    let mut each: Vec<(&LikelyPart, f64)> = Vec::new();
    for part in parts {
        if !each.iter().any(|(it, _)| it.name == part.name) {
            each.push((part, of_name(parts, &part.name)));
        }
    }
    each.sort_by(|a, b| b.1.total_cmp(&a.1));
    let first = each.first().map_or(0.0, |it| it.1);
    let worth = each
        .into_iter()
        .filter(|(_, likelihood)| *likelihood >= NAMED.max(NAMED_BESIDE * first));
    worth.map(|(part, _)| part).collect()
}

/// The rate of the mains that a line has.
pub fn mains_of(line: &FlutterLine) -> Option<Hertz> {
    let near = |mains: &f64| (line.hz.0 / mains - 1.0).abs() < MAINS_NEAR;
    MAINS_HZ.into_iter().find(near).map(Hertz)
}
