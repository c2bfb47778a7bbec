//! How often the ± holds the truth, and how much wider than need be it is.
//!
//! `cargo bench --bench coverage`: 1,000 records or more for each length and
//! kind of fluctuation, through the whole engine, with a perfect clock and a
//! perfect reference. `-- --quick`: 200 of each. `-- 30`: that length alone.
//! `-- mixed`: lines in slow noise, a machine of its own for each record, and
//! which of it the weights of the kinds of noise were tuned on.
//!
//! Truth: the mean speed of the process (with drift, the line at the middle
//! of the record), the true slope, and what the same machine reads in the
//! long run: two-sigma and root mean square over a long record, quasi-peak as
//! the mean of the highest reading over stretches of the same length.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::{each, quantile};
use support::unsteady::{Kind, LinesIn, LongRun, Slow, Wavering, mean_peak, measured};
use tapewright::readings::{CautionCode, Measurement};

const LENGTHS_S: [f64; 4] = [3.0, 10.0, 30.0, 100.0];
const KINDS: [Kind; 6] = [
    Kind::Lines,
    Kind::Correlated(0.3),
    Kind::Correlated(1.0),
    Kind::Correlated(3.0),
    Kind::Drift,
    Kind::Mix,
];

/// So many machines of the kinds that differ from one to the next.
const MACHINES: usize = 40;

/// Figures in the order of the columns.
const FIGURES: usize = 5;

/// One figure of one record: error and ±.
type Judged = Option<(f64, f64)>;

struct Record {
    marked: bool,
    figures: [Judged; FIGURES],
}

/// A machine and what it reads in the long run.
struct Known {
    wavering: Wavering,
    long_run: LongRun,
}

fn machines(kind: Kind) -> Vec<Known> {
    let (count, seconds) = match kind {
        Kind::Correlated(_) => (1, 4000.0),
        _ => (MACHINES, 1000.0),
    };
    each(0..count as u64, |machine| {
        let wavering = kind.machine(machine);
        let long_run = LongRun::of(&wavering, seconds, 1_000_000 + machine);
        Known { wavering, long_run }
    })
}

fn judge(known: &Known, peak: f64, got: &Measurement) -> Record {
    let figure = |value: Option<f64>, uncertainty: Option<f64>, truth: f64| {
        value.map(|value| (value - truth, uncertainty.unwrap_or(0.0)))
    };
    let speed = got.speed.and_then(|speed| {
        figure(
            Some(speed.deviation.0),
            speed.uncertainty.map(|percent| percent.0),
            0.0,
        )
    });
    let drift = got.drift.and_then(|drift| {
        figure(
            Some(drift.percent_per_minute),
            drift.uncertainty_percent_per_minute,
            known.wavering.drift_per_minute,
        )
    });
    let f = &got.flutter;
    let flutter = [
        (
            f.weighted_two_sigma,
            f.weighted_two_sigma_uncertainty,
            known.long_run.two_sigma,
        ),
        (
            f.weighted_rms,
            f.weighted_rms_uncertainty,
            known.long_run.rms,
        ),
        (f.weighted_peak, f.weighted_peak_uncertainty, peak),
    ]
    .map(|(value, uncertainty, truth)| figure(value.map(|v| v.0), uncertainty.map(|u| u.0), truth));
    Record {
        marked: got.has(CautionCode::RecordTooShort),
        figures: [speed, drift, flutter[0], flutter[1], flutter[2]],
    }
}

/// Coverage in percent and median ± over the true 95 % error, of the records
/// that are not marked (of all, where most are marked).
fn column(records: &[Record], figure: usize, marked_too: bool) -> String {
    let judged: Vec<(f64, f64)> = records
        .iter()
        .filter(|record| marked_too || !record.marked)
        .filter_map(|record| record.figures[figure])
        .collect();
    if judged.len() < 20 {
        return "–".into();
    }
    let covered = judged.iter().filter(|(error, u)| error.abs() <= *u).count();
    let errors = judged.iter().map(|(error, _)| error.abs()).collect();
    let widths = judged.iter().map(|(_, u)| *u).collect();
    format!(
        "{:.1} ({:.2})",
        100.0 * covered as f64 / judged.len() as f64,
        quantile(widths, 0.5) / quantile(errors, 0.95),
    )
}

/// Lines in noise that remembers for 1/100 to 1/10 of the record, a third, as
/// much and three times as strong; then other kinds of slow noise, alone and
/// with lines.
fn mixed(count: usize, lengths_s: &[f64]) {
    println!("| length | fluctuation | weights were | speed | drift |");
    println!("| --- | --- | --- | --- | --- |");
    for &seconds in lengths_s {
        for anywhere in [false, true] {
            for part in [100.0, 30.0, 10.0] {
                for ratio in [1.0 / 3.0, 1.0, 3.0] {
                    // On tracks of 10 s, other seeds.
                    let tuned = seconds <= 10.0
                        && part < 100.0
                        && (!anywhere || (ratio - 1.0_f64).abs() < 1e-9);
                    let slow = Slow::First(seconds / part);
                    line_of_mixed(count, seconds, (anywhere, ratio), slow, tuned);
                }
            }
        }
        for ratio in [0.0, 1.0] {
            for (slow, tuned) in [
                (Slow::Two(seconds / 100.0, seconds / 10.0), true),
                (Slow::Inert(seconds / 30.0), true),
                (Slow::Pink(seconds / 10.0), false),
                (Slow::Resonance(3.0 / seconds, 2.0), false),
                (Slow::Resonance(8.0 / seconds, 5.0), false),
                (Slow::UnderWhite(seconds / 10.0), false),
            ] {
                let tuned = tuned && seconds <= 10.0;
                line_of_mixed(count, seconds, (false, ratio), slow, tuned);
            }
        }
    }
}

fn line_of_mixed(
    count: usize,
    seconds: f64,
    (anywhere, ratio): (bool, f64),
    slow: Slow,
    tuned: bool,
) {
    // The same power together, whatever the ratio.
    let noise = 0.1 / f64::hypot(1.0, ratio);
    let kind = Kind::LinesIn(LinesIn {
        anywhere,
        lines: ratio * noise,
        noise,
        slow,
    });
    let records = each(0..count as u64, |number| {
        let wavering = kind.machine(70_000 + number);
        let got = measured(&wavering, seconds, 50_000 + number);
        let known = Known {
            wavering,
            long_run: LongRun {
                two_sigma: f64::NAN,
                rms: f64::NAN,
            },
        };
        judge(&known, f64::NAN, &got)
    });
    println!(
        "| {seconds} s | {} | {} | {} | {} |",
        kind.name(),
        if tuned {
            "tuned on other seeds of it"
        } else {
            "not tuned on it"
        },
        column(&records, 0, true),
        column(&records, 1, true),
    );
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let quick = arguments.iter().any(|argument| argument == "--quick");
    let chosen: Vec<f64> = arguments.iter().filter_map(|a| a.parse().ok()).collect();
    let count = if quick { 200 } else { 1000 };
    if arguments.iter().any(|argument| argument == "mixed") {
        println!(
            "coverage in percent, in brackets median ± over the true 95 % error; {count} records a line"
        );
        let lengths_s: &[f64] = if chosen.is_empty() {
            &[10.0, 30.0]
        } else {
            &chosen
        };
        return mixed(count, lengths_s);
    }
    println!(
        "coverage in percent, in brackets median ± over the true 95 % error; {count} records a line"
    );
    println!("lines marked with a star: of all records, as most are marked too short");
    println!();
    println!(
        "| length | fluctuation | marked too short % | speed | drift | two-sigma | rms | quasi-peak |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- |");
    for kind in KINDS {
        let known = machines(kind);
        for seconds in LENGTHS_S {
            if !chosen.is_empty() && !chosen.contains(&seconds) {
                continue;
            }
            let measured = each(0..count as u64, |number| {
                let known = &known[number as usize % known.len()];
                measured(&known.wavering, seconds, number)
            });
            let peaks: Vec<f64> = (0..known.len())
                .map(|first| mean_peak(measured.iter().skip(first).step_by(known.len())))
                .collect();
            let records: Vec<Record> = measured
                .iter()
                .enumerate()
                .map(|(number, got)| {
                    let machine = number % known.len();
                    judge(&known[machine], peaks[machine], got)
                })
                .collect();
            let marked = records.iter().filter(|record| record.marked).count();
            let all = marked * 2 > count;
            let columns: Vec<String> = (0..FIGURES)
                .map(|figure| column(&records, figure, all))
                .collect();
            println!(
                "| {seconds} s{} | {} | {:.1} | {} |",
                if all { " *" } else { "" },
                kind.name(),
                100.0 * marked as f64 / count as f64,
                columns.join(" | "),
            );
        }
    }
}
