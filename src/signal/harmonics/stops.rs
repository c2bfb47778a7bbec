//! An organ sounds one key at several pitches: besides the note that is named
//! (8′) an octave or two lower (16′, 32′) and at fifths (5⅓′, 2⅔′). All of it
//! together is a series an octave or two below, of which most odd partials are
//! missing.

use super::explain::Explained;
use super::lines::Line;

/// The named note may be these partials of that series.
const NUMBERS: [u32; 2] = [2, 4];

/// Lines this far below the strongest do not count, as a ratio of powers.
const COUNTS: f64 = 1e-3;

/// A lower note would have partials that no stop makes: they are missing when
/// a higher one that the named note has is so many times as strong.
const MISSING: f64 = 100.0;

/// Which partial of a series the named note is, when the series is that of an
/// organ's stops around a note in this range; `None` for one note.
pub fn named(series: &Explained, range_hz: [f64; 2]) -> Option<u32> {
    let [low, high] = range_hz;
    NUMBERS.into_iter().find(|&named| {
        let hz = f64::from(named) * series.fitted.series.hz;
        (low..=high).contains(&hz) && is_of_stops(&series.partials, named)
    })
}

fn is_of_stops(partials: &[(u32, Line)], named: u32) -> bool {
    let power = |n: u32| {
        let found = partials.iter().find(|(number, _)| *number == n);
        found.map_or(0.0, |(_, line)| line.power)
    };
    let strongest = partials.iter().map(|(_, line)| line.power);
    let least = COUNTS * strongest.fold(0.0, f64::max);
    let own = partials.iter().filter(|(n, _)| n % named == 0);
    let highest = own.filter(|(n, _)| power(*n) > least).map(|(n, _)| *n);
    let highest = highest.max().unwrap_or(0);
    // 32′, 16′ and 5⅓′ of the named note.
    let is_stop = |n: u32| [named / 4, named / 2, 3 * named / 2].contains(&n) && n > 0;
    let mut others = (1..=highest).filter(|n| n % named != 0 && !is_stop(*n));
    let above = |n: u32| {
        let multiples = (n..=highest).filter(|m| m % named == 0);
        multiples.map(power).fold(0.0, f64::max)
    };
    // One at least must be missing: from 5 of 2 on, or 3 of 4.
    power(named) > least
        && highest > named
        && others.clone().next().is_some()
        && others.all(|n| MISSING * power(n) < above(n))
        && partials
            .iter()
            .all(|&(n, line)| n < highest || n % named == 0 || line.power < least)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_organ(partials: &[(u32, f64)], named: u32) -> bool {
        let lines: Vec<(u32, Line)> = partials
            .iter()
            .map(|&(n, db)| {
                let power = 10f64.powf(db / 10.0);
                let line = Line {
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
