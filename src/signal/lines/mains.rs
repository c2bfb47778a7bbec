//! Ripple of the mains in the speed. It keeps its rate while the speed wavers,
//! so it is sharp in time and smeared at equal steps of tape; the other way
//! round for all that turns with the tape.

use super::fit::{self, Wave};
use super::position::{detrend, steps_from_middle};
use super::{Found, LOBE_TURNS, Search, Sine, threshold};

/// Rates of the mains and what rectifiers make of them, and how far the mains
/// stray.
const RATES_HZ: [f64; 6] = [50.0, 60.0, 100.0, 120.0, 150.0, 180.0];
const STRAYS: f64 = 0.002;

/// So much more of it must show in time than at steps of tape: where both
/// are alike, nothing can be told. Tuned: simulated machines, 0.05 to 0.3 % of
/// wow.
const SHARPER: f64 = 1.15;

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

/// Lines that keep their rate, with what to take out of the record.
pub fn ripple(centred: &[f32], rate_hz: f64, top_hz: f64, turning: &Found) -> Vec<(Sine, Wave)> {
    let mut values = centred.to_vec();
    detrend(&mut values);
    let mut search = Search::new(values.len(), rate_hz, top_hz);
    let power = search.power(&values);
    let floor = search.layout.floor(&power);
    let strays = range_of_means(centred, (MEAN_S * rate_hz) as usize) / 100.0;
    let mut found = Vec::new();
    for hz in RATES_HZ.into_iter().filter(|&hz| hz <= top_hz) {
        let near = [1.0 - STRAYS, 1.0 + STRAYS].map(|part| search.spectrum.bin_of(hz * part));
        let band = search.layout.band.clone();
        let bins = (near[0]..=near[1]).filter(|bin| band.contains(bin));
        let Some(bin) = bins.max_by(|&a, &b| power[a].total_cmp(&power[b])) else {
            continue;
        };
        let above = f64::from(power[bin]).max(1e-300).ln() - floor[bin - band.start];
        if above <= threshold(search.seconds) {
            continue;
        }
        let mut wave = Wave {
            turns: bin as f64 / (search.layout.per_turn * search.count as f64),
            ..Wave::default()
        };
        fit::fit_one(&values, &mut wave);
        let aside = (LOBE_TURNS / search.seconds).max(SMEARED * hz * strays);
        let off = |line: &Sine| (line.hz - wave.turns * rate_hz).abs();
        let alike = turning.lines.iter().filter(|line| off(line) < aside);
        let strongest = alike.map(|line| line.peak).fold(0.0, f64::max);
        let stronger = turning
            .lines
            .iter()
            .filter(|line| off(line) < SIDEBANDS_HZ && line.peak > wave.peak());
        if wave.peak() > SHARPER * strongest && stays(&wave, centred, &values, stronger) {
            fit::add(&mut values, &wave, -1.0);
            let seen = super::Seen {
                wave,
                above,
                bend_sd: 0.0,
            };
            let line = Sine {
                keeps_rate: true,
                ..search.line(&seen, turning)
            };
            found.push((line, wave));
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
