//! How often noise shows a line, how small a line is found, and how true its
//! rate and amplitude are.
//!
//! `cargo bench --bench lines`: all parts; `-- noise`, `-- foreign`, `-- found`,
//! `-- strength`, `-- engine` one of them; a number says how many records a cell,
//! `--seed 1` takes others. The thresholds were tuned on other generators, whose
//! seeds cannot be met here.

#[path = "../support/mod.rs"]
mod support;

use support::coloured::{COLOURS, Colour, FOREIGN, RATE_HZ, add_turning, scale, short, wandering};
use support::dice::Dice;
use support::seeds::{asked, each, has, head, row, share};
use support::unsteady::{self, Noise, Tone, Wavering};
use tapewright::signal::lines::{Found, Sine, find, threshold};

const TOP_HZ: f64 = 200.0;

fn found(values: &[f64]) -> Found {
    let seconds = values.len() as f64 / RATE_HZ;
    find(&short(values), RATE_HZ, TOP_HZ, threshold(seconds)).expect("long enough")
}

fn nearest(found: &Found, hz: f64) -> Option<&Sine> {
    let near = |line: &&Sine| (line.hz - hz).abs() < (2.0 / found.seconds).max(0.01 * hz);
    let lines = found.lines.iter().filter(near);
    lines.max_by(|a, b| a.peak.total_cmp(&b.peak))
}

/// Records of noise that show any line.
fn noise(count: u64, set: u64) {
    println!("records of noise that show a line, percent");
    head("seconds | white | 1/f | 1/f² | Q 5 | Q 10 | rising");
    for seconds in [10.0, 25.0, 33.0, 60.0] {
        let cells: Vec<String> = COLOURS
            .iter()
            .map(|colour| {
                let shows = each(0..count, |nth| {
                    let mut dice = Dice::new(nth ^ (set << 32) ^ 0x006e_6f69);
                    !found(&colour.noise(seconds, &mut dice)).lines.is_empty()
                });
                share(shows.iter().filter(|&&it| it).count(), shows.len())
            })
            .collect();
        row(&[&seconds, &cells.join(" | ")]);
    }
}

/// The same of noise that no threshold was tuned on, and lines whose phase
/// wanders.
fn foreign(count: u64, set: u64) {
    println!("\nnoise that nothing was tuned on: records that show a line, percent");
    head("noise | 20 s | 60 s");
    for kind in FOREIGN {
        let cells = [20.0, 60.0].map(|seconds| {
            let shows = each(0..count, |nth| {
                let mut dice = Dice::new(nth ^ (set << 32) ^ 0x666f_7265);
                let mut values = kind.noise(seconds, &mut dice);
                scale(&mut values, 0.03);
                !found(&values).lines.is_empty()
            });
            share(shows.iter().filter(|&&it| it).count(), shows.len())
        });
        row(&[&format!("{kind:?}"), &cells.join(" | ")]);
    }
    println!("\na line of 0.06 % at 2.9 Hz in 0.05 % of noise whose phase wanders, 60 s");
    head("width, turns over the record | lines found | strongest, part of the peak");
    for width in [0.0, 0.1, 0.3, 1.0, 3.0] {
        let seen = each(0..count.div_ceil(4), |nth| {
            let mut dice = Dice::new(nth ^ (set << 32) ^ 0x7761_6e64);
            let noise = Colour::White.noise(60.0, &mut dice);
            let line = wandering(2.9, 0.06, width, 60.0, &mut dice);
            let values: Vec<f64> = noise.iter().zip(line).map(|(n, l)| 0.05 * n + l).collect();
            let found = found(&values);
            let peaks: Vec<f64> = found.lines.iter().map(|line| line.peak).collect();
            (peaks.len(), peaks.first().copied().unwrap_or(0.0) / 0.06)
        });
        let of = seen.len() as f64;
        let lines = seen.iter().map(|it| it.0 as f64).sum::<f64>() / of;
        let strongest = seen.iter().map(|it| it.1).sum::<f64>() / of;
        row(&[&width, &format!("{lines:.2}"), &format!("{strongest:.2}")]);
    }
}

/// Noise through the whole engine: at the end of a recording, and live, a look
/// every eight seconds.
fn engine(count: u64, set: u64) {
    println!("\nnoise through the whole engine, percent of records with any line");
    head("seconds | as a recording | live, at any look");
    let kinds = [
        Noise::first(0.05, 0.3),
        Noise::first(0.05, 0.01),
        Noise {
            quality: Some(0.5),
            ..Noise::first(0.05, 0.05)
        },
        Noise {
            quality: Some(6.0),
            ..Noise::first(0.05, 0.03)
        },
    ];
    for seconds in [20.0, 60.0, 110.0, 140.0, 600.0] {
        let count = if seconds > 200.0 {
            count.div_ceil(4)
        } else {
            count
        };
        let shows = each(0..count, |nth| {
            let machine = Wavering {
                noises: vec![kinds[nth as usize % kinds.len()]],
                white: 0.02,
                ..Wavering::default()
            };
            let mut live = unsteady::engine();
            let mut tone = Tone::new(&machine, seconds, nth ^ (set << 32) ^ 0x656e_6769);
            let (mut samples, mut shown) = (Vec::new(), false);
            for node in 0..(seconds * 200.0) as u64 {
                samples.clear();
                tone.add_node(&mut samples);
                live.push(&samples);
                if node % 400 == 0 {
                    let lines = live.reading().lines;
                    shown |= lines.is_some_and(|found| !found.lines.is_empty());
                }
            }
            let lines = live.measurement().lines.expect("long enough");
            (!lines.lines.is_empty(), shown)
        });
        let recorded = shows.iter().filter(|it| it.0).count();
        let live = shows.iter().filter(|it| it.1).count();
        let cells = [recorded, live].map(|hits| share(hits, shows.len()));
        row(&[&seconds, &cells.join(" | ")]);
    }
}

/// Lines that are found, by their strength: amplitude k √(4 P/N), P the
/// variance density of the noise by value.
fn small(count: u64, set: u64) {
    println!("\nlines found in 60 s, percent, by amplitude over √(4 P/N)");
    head("noise | 5 | 6 | 8 | 12");
    for (colour, hz) in [
        (Colour::White, 33.0),
        (Colour::Pink, 4.7),
        (Colour::Brown, 0.55),
    ] {
        let density = match colour {
            Colour::Pink => 10.0 / hz,
            Colour::Brown => (10.0 / hz) * (10.0 / hz),
            _ => 1.0,
        };
        let cells: Vec<String> = [5.0, 6.0, 8.0, 12.0]
            .iter()
            .map(|k| {
                let seen = each(0..count, |nth| {
                    let mut dice = Dice::new(nth ^ (set << 32) ^ 0x736d_616c);
                    let mut values = colour.noise(60.0, &mut dice);
                    let peak = k * (4.0 * density / values.len() as f64).sqrt();
                    // Percents small enough not to smear anything.
                    scale(&mut values, 1e-4);
                    add_turning(&mut values, &[(hz, 1e-4 * peak)], &mut dice);
                    nearest(&found(&values), hz).is_some()
                });
                share(seen.iter().filter(|&&it| it).count(), seen.len())
            })
            .collect();
        row(&[&format!("{colour:?}, {hz} Hz"), &cells.join(" | ")]);
    }
}

/// A line of 0.02 % among others and noise.
fn strength(count: u64, set: u64) {
    println!("\namplitude of a line of 0.02 % in 60 s beside 0.1 % of flutter");
    head(
        "rate, beside | found | mean error % | scatter % | within 5 % | ± held: amplitude | rate | lines that are none",
    );
    let machine = [
        (0.55, 0.12),
        (1.26, 0.06),
        (6.06, 0.07),
        (12.1, 0.02),
        (40.0, 0.03),
    ];
    for (name, others, noise, rates) in [
        (
            "lines",
            &machine[..],
            0.018,
            &[0.9, 4.0, 8.9, 33.0, 95.0, 150.0][..],
        ),
        ("noise", &[][..], 0.1, &[4.7, 8.9, 33.0, 95.0][..]),
    ] {
        for &hz in rates {
            let judged = each(0..count, |nth| {
                let mut dice = Dice::new(nth ^ (set << 32) ^ 0x7374_7265);
                let rate = hz * dice.between(0.98, 1.02);
                let mut values = Colour::White.noise(60.0, &mut dice);
                scale(&mut values, noise);
                let mut lines = others.to_vec();
                lines.push((rate, 0.02));
                add_turning(&mut values, &lines, &mut dice);
                let found = found(&values);
                let is_none = |line: &&Sine| {
                    let off = lines.iter().map(|(hz, _)| (line.hz - hz).abs());
                    off.fold(f64::INFINITY, f64::min) > 3.0 / found.seconds
                };
                let none = found.lines.iter().filter(is_none).count();
                let line = nearest(&found, rate).map(|line| {
                    let off = line.peak / 0.02 - 1.0;
                    let held = (line.peak - 0.02).abs() <= 2.0 * line.peak_sd;
                    (off, held, (line.hz - rate).abs() <= 2.0 * line.hz_sd)
                });
                (line, none)
            });
            let seen: Vec<(f64, bool, bool)> = judged.iter().filter_map(|it| it.0).collect();
            let of = seen.len() as f64;
            let mean = seen.iter().map(|it| it.0).sum::<f64>() / of;
            let scatter = (seen.iter().map(|it| (it.0 - mean).powi(2)).sum::<f64>() / of).sqrt();
            let part = |is: &dyn Fn(&(f64, bool, bool)) -> bool| {
                share(seen.iter().filter(|it| is(it)).count(), seen.len())
            };
            row(&[
                &format!("{hz} Hz, {name}"),
                &share(seen.len(), judged.len()),
                &format!("{:+.1}", 100.0 * mean),
                &format!("{:.1}", 100.0 * scatter),
                &part(&|it| it.0.abs() <= 0.05),
                &part(&|it| it.1),
                &part(&|it| it.2),
                &judged.iter().map(|it| it.1).sum::<usize>(),
            ]);
        }
    }
}

fn main() {
    let (count, set) = asked();
    let parts = ["noise", "foreign", "found", "strength", "engine"];
    let all = !parts.iter().any(|word| has(word));
    if all || has("noise") {
        noise(count.unwrap_or(300), set);
    }
    if all || has("foreign") {
        foreign(count.unwrap_or(200), set);
    }
    if all || has("engine") {
        engine(count.unwrap_or(80), set);
    }
    if all || has("found") {
        small(count.unwrap_or(100), set);
    }
    if all || has("strength") {
        strength(count.unwrap_or(40), set);
    }
}
