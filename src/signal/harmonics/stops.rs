//! An organ sounds one key at several pitches: besides the note that is named
//! (8′) an octave or two lower (16′, 32′) and at fifths (5⅓′, 2⅔′). All of it
//! together is a series an octave or two below, of which most odd partials are
//! missing.

use super::explain::Explained;
use super::lines::{ABOVE_NOISE, SpectralLine};

/// The named note may be these partials of that series.
const NUMBERS: [u32; 2] = [2, 4];

/// Lines this far below the strongest do not count, as a ratio of powers.
const COUNTS: f64 = 1e-3;

/// A lower note would have partials that no stop makes. Each of them is this
/// much weaker than its stronger neighbour of the named note, and in the mean
/// this much, in decibels (tuned on the organs of one set of sampled
/// instruments, judged on another). Only beside the stronger ones, as a ratio
/// of powers, would it show.
const MISSING_DB: f64 = 10.0;
const MISSING_MEAN_DB: f64 = 20.0;
const SHOWS: f64 = 1e-2;

/// What was not seen was this far below the strongest, as a ratio of powers.
const UNSEEN: f64 = 2.5e-5;

/// Which partial of a series the named note is, when the series is that of an
/// organ's stops around a note in this range; `None` for one note.
pub fn named(series: &Explained, range_hz: [f64; 2]) -> Option<u32> {
    let [low, high] = range_hz;
    NUMBERS.into_iter().find(|&named| {
        let hz = f64::from(named) * series.fitted.series.hz;
        (low..=high).contains(&hz) && is_of_stops(&series.partials, named)
    })
}

/// Partials that sound with a key whose note is partial `named`: its own, those
/// of the 5⅓′, and the first one of the 16′ and 32′.
fn is_of_key(n: u32, named: u32) -> bool {
    n.is_multiple_of(named)
        || n.is_multiple_of(3 * named / 2)
        || [named / 4, named / 2].contains(&n)
}

fn is_of_stops(partials: &[(u32, SpectralLine)], named: u32) -> bool {
    let line = |n: u32| {
        let found = partials.iter().find(|(number, _)| *number == n);
        found.map(|(_, line)| *line)
    };
    let power = |n: u32| line(n).map_or(0.0, |line| line.power);
    let powers = partials.iter().map(|(_, line)| line.power);
    let strongest = powers.fold(0.0, f64::max);
    let least = COUNTS * strongest;
    let own = || partials.iter().filter(|(n, _)| n.is_multiple_of(named));
    let highest = own()
        .filter(|(_, line)| line.power > least)
        .map(|(n, _)| *n);
    let highest = highest.max().unwrap_or(0);
    let missing_db: Vec<f64> = (1..highest)
        .filter(|n| !is_of_key(*n, named))
        .filter_map(|n| {
            // A valley between two formants has weak neighbours; a series that
            // ends has nothing above.
            let above = own().filter(|(m, _)| *m > n).map(|(_, line)| line.power);
            let above = above.fold(0.0, f64::max);
            let next = n.div_ceil(named) * named;
            let beside = [next, next - named].into_iter().filter_map(line);
            let beside = beside.max_by(|a, b| a.power.total_cmp(&b.power))?;
            let unseen = (ABOVE_NOISE * beside.power / beside.above_noise).max(UNSEEN * strongest);
            let shown = 10.0 * (beside.power.min(above) / power(n).max(unseen)).log10();
            (beside.power > SHOWS * strongest).then_some(shown)
        })
        .collect();
    let mean_db = missing_db.iter().sum::<f64>() / missing_db.len() as f64;
    // One at least must be missing: from 5 of 2 on, or 3 of 4.
    power(named) > least
        && highest > named
        && !missing_db.is_empty()
        && mean_db > MISSING_MEAN_DB
        && missing_db.iter().all(|db| *db > MISSING_DB)
        && partials
            .iter()
            .all(|&(n, line)| n < highest || is_of_key(n, named) || line.power < least)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_organ(partials: &[(u32, f64)], named: u32) -> bool {
        let lines: Vec<(u32, SpectralLine)> = partials
            .iter()
            .map(|&(n, db)| {
                let power = 10f64.powf(db / 10.0);
                let line = SpectralLine {
                    hz: 110.0 * f64::from(n),
                    power,
                    above_noise: 1e6 * power,
                };
                (n, line)
            })
            .collect();
        is_of_stops(&lines, named)
    }

    #[test]
    fn stops_around_a_note_are_told_from_a_lower_note() {
        // 16′, 8′, 5⅓′, 4′, 2⅔′, 2′.
        let stops = [(1, 0.0), (2, -5.0), (3, -3.0), (4, -9.0), (6, -9.0)];
        assert!(is_organ(&stops, 2));
        assert!(is_organ(&[(1, 0.0), (2, -9.0), (4, -5.0), (8, -18.0)], 4));
        let note: Vec<(u32, f64)> = (1..9).map(|n| (n, -2.0 * f64::from(n))).collect();
        assert!(!is_organ(&note, 2) && !is_organ(&note, 4));
        // A lower note of few partials, and two stops that may be anything.
        assert!(!is_organ(&[(1, 0.0), (2, -6.0), (3, -12.0), (4, -20.0)], 2));
        assert!(!is_organ(&[(1, 0.0), (2, 0.0), (4, 0.0)], 2));
        // With the fifth partial weak by itself.
        let weak = [
            (1, 0.0),
            (2, -3.0),
            (3, -3.0),
            (4, -9.0),
            (5, -22.0),
            (6, -9.0),
        ];
        assert!(!is_organ(&weak, 2));
    }
}
