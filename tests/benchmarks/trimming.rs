//! How fast needle and digits follow the trimmer, and how restless they are.
//!
//! `cargo bench --bench trimming`: 200 simulated machines for each kind of
//! flutter, at 0.15 % weighted two-sigma, twenty seconds into the tape; then
//! the speed is stepped by 3 %. Time counts from the step.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::{each, head, quantile};
use support::sound;
use tapewright::rehearsal::{FlutterModel, MachineConfig, SimulatedMachine};
use tapewright::units::Percent;

const RUNS: u64 = 200;
const BEFORE_S: f64 = 20.0;
const AFTER_S: f64 = 20.0;
const RATE: u32 = 48_000;
/// A reading is taken every 5 ms.
const FRAMES: usize = 240;

/// What one run has shown.
struct Run {
    needle_s: f64,
    digits_s: f64,
    jitter_square: f64,
    covered: u32,
    judged: u32,
}

fn run(flutter: &FlutterModel, seed: u64) -> Run {
    let config = MachineConfig {
        channels: 1,
        flutter: flutter.clone(),
        hiss_snr_db: Some(50.0),
        ..MachineConfig::ideal()
    };
    let mut machine = SimulatedMachine::new(config, seed);
    machine.step_speed(Percent(-3.0));
    let mut engine = sound::engine(sound::settings(RATE, 1));
    let mut samples = vec![0.0; FRAMES];
    let step_s = FRAMES as f64 / f64::from(RATE);
    let steps = |seconds: f64| (seconds / step_s) as usize;
    let mut run = Run {
        needle_s: f64::INFINITY,
        digits_s: 0.0,
        jitter_square: 0.0,
        covered: 0,
        judged: 0,
    };
    let mut steady = 0u32;
    for step in 0..steps(BEFORE_S + AFTER_S) {
        if step == steps(BEFORE_S) {
            machine.step_speed(Percent(3.0));
        }
        machine.fill(&mut samples);
        engine.push(&samples);
        let Some(speed) = engine.reading().speed else {
            continue;
        };
        let truth = machine.mean_deviation();
        let error = speed.deviation.0 - truth.0;
        if let Some(scatter) = speed.scatter
            && step % 20 == 0
        {
            run.judged += 1;
            run.covered += u32::from(error.abs() <= scatter.0);
        }
        if step < steps(BEFORE_S) {
            // Steady: the last ten seconds before the step.
            if step >= steps(BEFORE_S - 10.0) {
                run.jitter_square += error * error;
                steady += 1;
            }
            continue;
        }
        let since_s = (step + 1 - steps(BEFORE_S)) as f64 * step_s;
        if error.abs() > 0.05 {
            run.digits_s = since_s;
        }
        if (speed.needle.0 - truth.0).abs() <= 0.3 {
            run.needle_s = run.needle_s.min(since_s);
        }
    }
    run.jitter_square /= f64::from(steady);
    run
}

fn main() {
    println!(
        "{RUNS} runs a line: a step of 3 % after {BEFORE_S} s, flutter 0.15 % weighted two-sigma"
    );
    println!("needle: first within 0.3 %; digits: within 0.05 % for good (in {AFTER_S} s)");
    println!("jitter: rms of the digits over the last 10 s before the step");
    println!("covered: readings whose error is inside the scatter shown");
    head("flutter | needle p50 | p90 | digits p50 | p90 | jitter % rms | covered");
    for (name, model) in [
        ("four mixed lines", FlutterModel::mix()),
        ("nearly pure wow", FlutterModel::pure_wow()),
        ("noise correlated over 0.3 s", FlutterModel::correlated()),
    ] {
        let runs = each(0..RUNS, |seed| run(&model, seed));
        let of = |get: fn(&Run) -> f64, part| quantile(runs.iter().map(get), part);
        let jitter = runs.iter().map(|run| run.jitter_square).sum::<f64>() / runs.len() as f64;
        let judged: u32 = runs.iter().map(|run| run.judged).sum();
        let covered: u32 = runs.iter().map(|run| run.covered).sum();
        println!(
            "| {name} | {:.3} s | {:.3} s | {:.2} s | {:.2} s | {:.4} | {:.1} % |",
            of(|run| run.needle_s, 0.5),
            of(|run| run.needle_s, 0.9),
            of(|run| run.digits_s, 0.5),
            of(|run| run.digits_s, 0.9),
            jitter.sqrt(),
            100.0 * f64::from(covered) / f64::from(judged.max(1)),
        );
    }
}
