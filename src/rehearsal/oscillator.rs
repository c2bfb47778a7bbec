//! A sine made of additions and multiplications only, so that the same phase
//! gives the same bits on every platform.

use std::f64::consts::PI;

/// 1/3!, 1/5!, … 1/19!, signs included: the Taylor series of the sine. With
/// an argument of at most a quarter turn the first term left out is below
/// 3e-16.
const SERIES: [f64; 9] = [
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5_040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
    1.0 / 355_687_428_096_000.0,
    -1.0 / 121_645_100_408_832_000.0,
];

/// The sine of a phase in turns.
pub(super) fn sine_of_turns(turns: f64) -> f64 {
    let mut x = turns - (turns as i64) as f64;
    if x > 0.5 {
        x -= 1.0;
    } else if x < -0.5 {
        x += 1.0;
    }
    if x > 0.25 {
        x = 0.5 - x;
    } else if x < -0.25 {
        x = -0.5 - x;
    }
    let angle = 2.0 * PI * x;
    let square = angle * angle;
    let tail = SERIES.iter().rev().fold(0.0, |sum, c| (sum + c) * square);
    angle + angle * tail
}

/// Advances a phase in turns and keeps it below one turn.
pub(super) fn advance_turns(turns: &mut f64, by: f64) {
    *turns += by;
    *turns -= (*turns as i64) as f64;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_platform_sine() {
        for step in -4000..=4000 {
            let turns = f64::from(step) / 1600.0 + 1e-5;
            let expected = (2.0 * PI * turns).sin();
            let got = sine_of_turns(turns);
            assert!((got - expected).abs() < 2e-15, "{turns}: {got} {expected}");
        }
    }

    #[test]
    fn the_quarter_turns_are_what_they_should_be() {
        for (turns, expected) in [(0.0, 0.0), (0.25, 1.0), (0.5, 0.0), (0.75, -1.0)] {
            assert!((sine_of_turns(turns) - expected).abs() < 1e-15, "{turns}");
        }
    }
}
