//! Ripple of the mains in the speed. It keeps its rate while the speed wavers,
//! so it is sharp in time and smeared at equal steps of tape; the other way
//! round for all that turns with the tape.

use super::fit::{self, Wave};
use super::position::{detrend, in_time, steps_from_middle};
use super::{Found, LOBE_TURNS, Search, Seen, Sine, threshold};

/// Rates of the mains and what rectifiers make of them: once and twice a period,
/// and thrice the first, at 50 and at 60 Hz.
pub const MAINS_HZ: [f64; 6] = [50.0, 60.0, 100.0, 120.0, 150.0, 180.0];
/// The mains stray from their rate by this part of it (common practice, no
/// source).
pub const MAINS_STRAY: f64 = 0.002;

/// More of it must show in time than at steps of tape, by this many standard
/// deviations of noise and this part: where both are alike, nothing can be
/// told. A choice; what turns shows less in time by as much.
const SHARPER_SD: f64 = 5.0;
const SHARPER: f64 = 0.01;

/// A line at steps of tape is looked for this far aside, in parts of what the
/// speed strays by.
const SMEARED: f64 = 0.6;

/// Wow makes sidebands in time to what turns with the tape, up to this far
/// aside: the highest rate of wow and its double. Of what is none, this part is
/// left when they are taken out. A choice.
const SIDEBANDS_HZ: f64 = 12.0;
const STAYS: f64 = 0.7;

/// The speed strays by the range of its means over this.
const MEAN_S: f64 = 0.5;

/// Lines that keep their rate.
pub fn ripple(search: &mut Search, centred: &[f32], rate_hz: f64, turning: &Found) -> Vec<Sine> {
    let mut values = in_time(centred).to_vec();
    detrend(&mut values);
    let power = search.power(&values);
    let strays = range_of_means(centred, (MEAN_S * rate_hz) as usize) / 100.0;
    let mut found = Vec::new();
    // With all that the mains stray: what turns there is known too.
    let top_hz = search.top_hz / (1.0 + MAINS_STRAY);
    for hz in MAINS_HZ.into_iter().filter(|&hz| hz <= top_hz) {
        let [from, to] =
            [1.0 - MAINS_STRAY, 1.0 + MAINS_STRAY].map(|part| search.spectrum.bin_of(hz * part));
        let layout = search.layout.part(from..to + 1);
        let floor = layout.floor(&power);
        let Some(bin) = layout
            .band
            .clone()
            .max_by(|&a, &b| power[a].total_cmp(&power[b]))
        else {
            continue;
        };
        let above = f64::from(power[bin].max(f32::MIN_POSITIVE).ln()) - floor[bin - from];
        if above <= threshold(search.seconds) {
            continue;
        }
        let mut wave = Wave {
            turns: bin as f64 / (search.layout.per_turn * search.count as f64),
            ..Wave::default()
        };
        fit::fit_one(&values, &mut wave);
        let aside = (LOBE_TURNS / search.seconds).max(SMEARED * hz * strays);
        let seen = Seen {
            wave,
            above,
            bend_sd: 0.0,
        };
        let line = Sine {
            hz: wave.turns * rate_hz,
            keeps_rate: true,
            ..search.line(&seen, turning)
        };
        let off = |other: &Sine| (other.hz - line.hz).abs();
        let noise = (turning.density(line.hz) / search.seconds).sqrt();
        let all = || turning.lines.iter().chain(&turning.beyond);
        let mut alike = all().filter(|other| off(other) < aside);
        let is_sharp =
            alike.all(|other| (1.0 - SHARPER) * line.peak - other.peak > SHARPER_SD * noise);
        let stronger = all().filter(|other| off(other) < SIDEBANDS_HZ && other.peak > line.peak);
        if is_sharp && stays(&wave, centred, &values, stronger) {
            fit::add(&mut values, &wave, -1.0);
            found.push(line);
        }
    }
    found
}

/// True where a wave is no sideband of what turns with the tape, stronger than
/// it: without these it is still there.
fn stays<'a>(
    wave: &Wave,
    centred: &[f32],
    values: &[f32],
    stronger: impl Iterator<Item = &'a Sine>,
) -> bool {
    let waves: Vec<Wave> = stronger.map(|line| line.wave).collect();
    if waves.is_empty() {
        return true;
    }
    let mut without = values.to_vec();
    for (value, t) in without.iter_mut().zip(steps_from_middle(centred)) {
        *value -= waves.iter().map(|wave| wave.at(t)).sum::<f64>() as f32;
    }
    let mut again = *wave;
    fit::fit_one(&without, &mut again);
    again.peak() > STAYS * wave.peak()
}

fn range_of_means(values: &[f32], each: usize) -> f64 {
    let means = values.chunks_exact(each.max(1));
    let means = means.map(|few| few.iter().map(|&v| f64::from(v)).sum::<f64>() / few.len() as f64);
    let ends = |(low, high): (f64, f64), mean: f64| (low.min(mean), high.max(mean));
    let (low, high) = means.fold((f64::INFINITY, f64::NEG_INFINITY), ends);
    (high - low).max(0.0)
}

#[cfg(test)]
mod tests {
    use crate::signal::lines::tests::noise;
    use crate::signal::lines::{Sine, find};
    use std::f64::consts::TAU;

    /// A minute with wow, a part at one rate and ripple at another.
    fn lines(part: (f64, f64), ripple: (f64, f64)) -> Vec<Sine> {
        let rate_hz = 500.0;
        let mut place = 0.0;
        let value = |(n, rough): (usize, &f64)| {
            let t = n as f64 / rate_hz;
            let speed = 0.2 * (TAU * 0.55 * t).sin()
                + 0.2 * (t - 30.0) / 60.0
                + ripple.1 * (TAU * ripple.0 * t).sin()
                + part.1 * (TAU * part.0 * place).sin()
                + 0.05 * rough;
            place += (1.0 + speed / 100.0) / rate_hz;
            speed as f32
        };
        let rough = noise(30_000, 2);
        let values: Vec<f32> = rough.iter().enumerate().map(value).collect();
        find(&values, rate_hz, 200.0, 3.9)
            .expect("long enough")
            .lines
    }

    #[test]
    fn ripple_that_keeps_its_rate_is_told_from_a_motor_near_it() {
        for (part, ripple) in [((48.7, 0.03), (50.0, 0.02)), ((101.3, 0.02), (100.0, 0.03))] {
            let lines = lines(part, ripple);
            let rates = |keeps| {
                let those = lines.iter().filter(move |line| line.keeps_rate == keeps);
                those.map(|line| line.hz).collect::<Vec<f64>>()
            };
            let (kept, turning) = (rates(true), rates(false));
            assert_eq!(kept.len(), 1, "{lines:?}");
            assert!((kept[0] - ripple.0).abs() < 0.01);
            assert_eq!(turning.len(), 2, "{lines:?}");
            assert!(turning.iter().any(|hz| (hz - part.0).abs() < 0.02));
        }
    }

    #[test]
    fn a_side_band_of_what_turns_is_no_ripple() {
        // Wow makes one at 50 Hz, in time, of what turns at 49.45.
        let lines = lines((49.45, 0.05), (130.0, 0.0));
        assert!(lines.iter().all(|line| !line.keeps_rate), "{lines:?}");
        assert_eq!(lines.len(), 2, "{lines:?}");
    }
}
