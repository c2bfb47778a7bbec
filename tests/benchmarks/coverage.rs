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

use support::seeds::{Errors, each, has, head, numbers, row};
use support::unsteady::{
    FIGURES, Kind, LinesIn, LongRun, Slow, Wavering, judged, mean_peak, measured,
};
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

struct Record {
    marked: bool,
    figures: [Option<(f64, f64)>; FIGURES.len()],
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

/// Coverage in percent and median ± over the true 95 % error, of the records
/// that are not marked (of all, where most are marked).
fn column(records: &[Record], figure: usize, marked_too: bool) -> String {
    let taken = records.iter().filter(|it| marked_too || !it.marked);
    let errors = Errors::of(taken.map(|it| it.figures[figure]));
    if errors.known.len() < 20 {
        return "–".into();
    }
    format!("{:.1} ({:.2})", 100.0 * errors.covered(), errors.width())
}

/// Lines in noise that remembers for 1/100 to 1/10 of the record, a third, as
/// much and three times as strong; then other kinds of slow noise, alone and
/// with lines.
fn mixed(count: usize, lengths_s: &[f64]) {
    head("length | fluctuation | weights were | speed | drift");
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
        let got = measured(&kind.machine(70_000 + number), seconds, 50_000 + number);
        let unknown = LongRun {
            two_sigma: f64::NAN,
            rms: f64::NAN,
        };
        Record {
            marked: false,
            figures: judged(&got, 0.0, unknown, f64::NAN),
        }
    });
    let was = if tuned {
        "tuned on other seeds of it"
    } else {
        "not tuned on it"
    };
    let [speed, drift] = [0, 1].map(|figure| column(&records, figure, true));
    row(&[&format!("{seconds} s"), &kind.name(), &was, &speed, &drift]);
}

fn main() {
    let chosen = numbers();
    let count = if has("--quick") { 200 } else { 1000 };
    println!(
        "coverage in percent, in brackets median ± over the true 95 % error; {count} records a line"
    );
    if has("mixed") {
        let usual = vec![10.0, 30.0];
        return mixed(count, if chosen.is_empty() { &usual } else { &chosen });
    }
    println!("lines marked with a star: of all records, as most are marked too short");
    let figures = FIGURES.join(" | ");
    head(&format!(
        "length | fluctuation | marked too short % | {figures}"
    ));
    for kind in KINDS {
        let known = machines(kind);
        for seconds in LENGTHS_S {
            if !chosen.is_empty() && !chosen.contains(&seconds) {
                continue;
            }
            let of = |number: usize| number % known.len();
            let measured = each(0..count as u64, |number| {
                measured(&known[of(number as usize)].wavering, seconds, number)
            });
            let peaks: Vec<f64> = (0..known.len())
                .map(|first| mean_peak(measured.iter().skip(first).step_by(known.len())))
                .collect();
            let judge = |(number, got): (usize, &Measurement)| {
                let known = &known[of(number)];
                let drift = known.wavering.drift_per_minute;
                Record {
                    marked: got.has(CautionCode::RecordTooShort),
                    figures: judged(got, drift, known.long_run, peaks[of(number)]),
                }
            };
            let records: Vec<Record> = measured.iter().enumerate().map(judge).collect();
            let marked = records.iter().filter(|record| record.marked).count();
            let all = marked * 2 > count;
            let columns = [0, 1, 2, 3, 4].map(|figure| column(&records, figure, all));
            let star = if all { " *" } else { "" };
            row(&[
                &format!("{seconds} s{star}"),
                &kind.name(),
                &format!("{:.1}", 100.0 * marked as f64 / count as f64),
                &columns.join(" | "),
            ]);
        }
    }
}
