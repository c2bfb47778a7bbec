//! What a line is called, by the parts that it may come from.

use crate::readings::{FlutterLine, FlutterLines, LikelyPart, LineMotion};
use crate::signal::lines::{MAINS_HZ, MAINS_STRAY};
use crate::units::Hertz;

/// Below this all parts together are no better than *don't know*. Practice.
const KNOWN: f64 = 0.5;
/// A part is named beside the first from this likelihood on...
const NAMED: f64 = 0.1;
/// ...and this part of the first one's.
const NAMED_BESIDE: f64 = 0.15;
/// From here on one name does without a question mark.
const PLAIN: f64 = 0.8;

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
        let named = named(line);
        match (&named[..], mains) {
            ([one], _) if of_name(&line.parts, &one.name) >= PLAIN => Self::Part(one),
            ([_, ..], _) => Self::Perhaps(named),
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

/// Each part that is worth a name, once, with its likeliest harmonic; none of
/// what keeps its rate, and where all together are no better than *don't know*.
pub(super) fn named(line: &FlutterLine) -> Vec<&LikelyPart> {
    let parts = &line.parts;
    let together: f64 = parts.iter().map(|it| it.likelihood).sum();
    if line.motion == LineMotion::KeepsRate || together < KNOWN {
        return Vec::new();
    }
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
    let near = |rate: &f64| (line.hz.0 / rate - 1.0).abs() < MAINS_STRAY;
    MAINS_HZ.into_iter().find(near).map(Hertz)
}
