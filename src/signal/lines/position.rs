//! A record of the speed read at equal steps of tape instead of equal steps of
//! time: what turns with the tape stays sharp however the speed wavers (order
//! tracking, as for other turning machines: Fyfe & Munck, Mech. Syst. Signal
//! Process. 11 (1997) 187, from memory).

use std::sync::LazyLock;

use crate::signal::fir::LANES;
use crate::signal::resample::Player;

/// Values that are left out at either end: half of what one value between the
/// values is made of.
const EDGE: usize = 12;

/// The record at equal steps of tape, about its mean.
pub struct Even {
    /// Percent.
    pub values: Vec<f32>,
    /// Length of a step in values of the record.
    pub step: f64,
}

/// From speeds in percent about their mean. Only the mean: without the slope,
/// drift would stay in what is to be kept out. `None` below some values.
pub fn at_equal_steps(percent: &[f32]) -> Option<Even> {
    static PLAYER: LazyLock<Player> = LazyLock::new(Player::default);
    let count = percent.len();
    let kept = kept(count);
    if kept == 0 {
        return None;
    }
    let places = places(percent);
    let step = step(&places);
    let mut below = 0;
    let evenly = (EDGE..EDGE + kept).map(|k| {
        let wanted = k as f64 * step;
        while below + 2 < count && places[below + 1] <= wanted {
            below += 1;
        }
        let [from, to] = [places[below], places[below + 1]];
        below as f64 + (wanted - from) / (to - from)
    });
    let evenly: Vec<f64> = evenly.collect();
    let mut values = vec![0.0; kept];
    PLAYER.play_at(percent, &evenly, &mut values);
    Some(Even { values, step })
}

/// Values of a record that can be read at equal steps: whole lanes of them, in
/// the middle of a record of whole lanes.
pub fn kept(count: usize) -> usize {
    count.saturating_sub(2 * EDGE) / LANES * LANES
}

/// The same values as they are in time.
pub fn in_time(values: &[f32]) -> &[f32] {
    &values[EDGE..EDGE + kept(values.len())]
}

/// Place of each value on the tape, in values at mean speed.
fn places(percent: &[f32]) -> Vec<f64> {
    let mut places = Vec::with_capacity(percent.len());
    let mut place = 0.0;
    for (k, value) in percent.iter().enumerate() {
        if k > 0 {
            place += 1.0 + (f64::from(*value) + f64::from(percent[k - 1])) / 200.0;
        }
        places.push(place);
    }
    places
}

fn step(places: &[f64]) -> f64 {
    places
        .last()
        .map_or(1.0, |last| last / (places.len() - 1).max(1) as f64)
}

/// Places of the values of [`in_time`] from the middle of what is read at equal
/// steps of tape, in those steps.
pub fn steps_from_middle(percent: &[f32]) -> Vec<f64> {
    let places = places(percent);
    let step = step(&places);
    let kept = kept(percent.len());
    let middle = EDGE as f64 + (kept as f64 - 1.0) / 2.0;
    let places = places[EDGE..EDGE + kept].iter();
    places.map(|place| place / step - middle).collect()
}

/// Takes mean and slope off.
pub fn detrend(values: &mut [f32]) {
    let count = values.len() as f64;
    let middle = (count - 1.0) / 2.0;
    let (mut mean, mut moment) = (0.0, 0.0);
    for (k, &value) in values.iter().enumerate() {
        mean += f64::from(value);
        moment += (k as f64 - middle) * f64::from(value);
    }
    mean /= count;
    let slope = moment / (count * (count * count - 1.0) / 12.0);
    for (k, value) in values.iter_mut().enumerate() {
        *value -= (mean + slope * (k as f64 - middle)) as f32;
    }
}

/// Takes the mean off.
pub fn centred(values: &[f32]) -> Vec<f32> {
    let sum: f64 = values.iter().map(|&value| f64::from(value)).sum();
    let mean = sum / values.len().max(1) as f64;
    let centre = |&value: &f32| (f64::from(value) - mean) as f32;
    values.iter().map(centre).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::lines::fit::{Wave, fit_one};
    use crate::signal::lines::{Sine, find};
    use std::f64::consts::TAU;

    #[test]
    fn wow_and_drift_smear_no_part_of_the_machine() {
        let rate_hz = 500.0;
        let slow = |t: f64| 0.3 * (TAU * 0.55 * t).sin() + 0.2 * (t - 30.0) / 60.0;
        let mut place = 0.0;
        let value = |n: u32| {
            let t = f64::from(n) / rate_hz;
            let speed = slow(t) + 0.05 * (TAU * 33.0 * place).sin();
            place += (1.0 + speed / 100.0) / rate_hz;
            speed as f32
        };
        let values: Vec<f32> = (0..30_000).map(value).collect();
        let found = find(&values, rate_hz, 200.0, 3.9).expect("long enough");
        let near = |line: &&Sine| (line.hz - 33.0).abs() < 0.2;
        let peaks: Vec<f64> = found
            .lines
            .iter()
            .filter(near)
            .map(|line| line.peak)
            .collect();
        assert_eq!(peaks.len(), 1, "{peaks:?}");
        assert!((peaks[0] / 0.05 - 1.0).abs() < 0.02, "{}", peaks[0]);
        // Read in time it has lost a third to its side bands.
        let mut in_time = values.clone();
        detrend(&mut in_time);
        let mut wave = Wave {
            turns: 33.0 / rate_hz,
            ..Default::default()
        };
        fit_one(&in_time, &mut wave);
        assert!(wave.peak() < 0.8 * 0.05, "{}", wave.peak());
    }
}
