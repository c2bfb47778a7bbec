//! How many faults of a wiper are found, and how often a clean one is accused.
//!
//! `cargo bench --bench sweep`: invented sweeps of one round trip, each made
//! into sound (3150 Hz, mono, 16 kHz, hiss 46 dB below the tone) and pushed
//! through the engine. Hands of five kinds take turns; two are those of the
//! rehearsal, three are written apart from it. 2,000 clean sweeps, 400 a cell
//! of faults; a fault counts as found when the verdict is erratic. Intervals
//! are Wilson's at 95 %. `-- --cell 100 --clean 500` makes fewer;
//! `-- --track` leaves the sound out.

#[path = "../support/sweeps.rs"]
mod sweeps;

use std::f64::consts::TAU;

use sweeps::{Dice, RATE_HZ, Shape, Sweep, even_but_shaky, movements, staircase};
use tapewright::readings::{
    ChannelChoice, Conditions, Engine, Settings, SweepReport, SweepVerdict, judge_track,
};
use tapewright::rehearsal::{SweepingConfig, SweepingHand};
use tapewright::units::Percent;

const SOUND_HZ: u32 = 16_000;
const HANDS: [&str; 5] = [
    "wandering",
    "wandering, rough",
    "movements",
    "staircase",
    "even but shaky",
];

fn wandering(config: SweepingConfig, seed: u64) -> Vec<f64> {
    let mut hand = SweepingHand::new(config, config.ends[0], seed);
    let mut positions = Vec::new();
    while !hand.is_done() {
        positions.push(hand.position_at(positions.len() as f64 / RATE_HZ));
    }
    positions
}

fn hand(kind: usize, seed: u64) -> Vec<f64> {
    let dice = &mut Dice::new(seed ^ 0x77);
    let config = SweepingConfig::of_seed(seed);
    match kind {
        0 => wandering(config, seed),
        1 => wandering(
            SweepingConfig {
                unevenness: 0.6,
                stops_per_minute: 15.0,
                backs_per_minute: 10.0,
                ..config
            },
            seed,
        ),
        2 => movements(dice),
        3 => staircase(dice),
        _ => even_but_shaky(dice),
    }
}

/// The track as a tone in hiss, through the engine.
fn judged(track: &[f64], with_sound: bool, dice: &mut Dice) -> SweepReport {
    if !with_sound {
        return judge_track(track, RATE_HZ);
    }
    let settings = Settings {
        rate_hz: SOUND_HZ,
        channels: 1,
        choice: ChannelChoice::Auto,
        conditions: Conditions::default(),
        tolerance: Percent(0.5),
    };
    let engine = Engine::new(settings).expect("a usual rate and one channel");
    let mut engine = engine.without_readings();
    engine.begin_sweep();
    let each = SOUND_HZ as usize / RATE_HZ as usize;
    let mut turns = 0.0f64;
    let mut block = Vec::with_capacity(each);
    for pair in track.windows(2) {
        block.clear();
        for k in 0..each {
            let percent = pair[0] + (pair[1] - pair[0]) * k as f64 / each as f64;
            turns += 3150.0 * (1.0 + percent / 100.0) / f64::from(SOUND_HZ);
            turns -= turns.floor();
            // Even noise of 0.0009 rms, 46 dB below a tone of 0.25 peak.
            let hiss = 0.0009 * 12f64.sqrt() * (dice.unit() - 0.5);
            block.push((0.25 * (TAU * turns).sin() + hiss) as f32);
        }
        engine.push(&block);
    }
    let report = engine.end_sweep().expect("one was begun");
    (*report).clone()
}

/// What came of a sweep.
struct Trial {
    kind: usize,
    long: bool,
    verdict: SweepVerdict,
    placed: bool,
}

fn trial(seed: u64, fault: Option<(Shape, f64)>, with_sound: bool) -> Trial {
    let kind = (seed % HANDS.len() as u64) as usize;
    let mut dice = Dice::new(seed);
    let mut sweep = Sweep::clean(hand(kind, seed), &mut dice);
    if let Some((shape, depth)) = fault {
        sweep = sweep.with_fault(shape, depth, &mut dice);
    }
    let track = sweep.track(&mut dice);
    let report = judged(&track, with_sound, &mut dice);
    let placed = sweep.faults.first().is_some_and(|fault| {
        let at = sweep.percent_at(fault.centre);
        let near = 0.05 * (sweep.high - sweep.low);
        report
            .bad_spots
            .iter()
            .any(|spot| (spot.at.0 - at).abs() < near)
    });
    Trial {
        kind,
        long: !sweep.faults.is_empty() && sweep.shortest_dwell_s() >= sweep.lag_s,
        verdict: report.verdict,
        placed,
    }
}

fn trials(
    seeds: std::ops::Range<u64>,
    fault: Option<(Shape, f64)>,
    with_sound: bool,
) -> Vec<Trial> {
    let middle = u64::midpoint(seeds.start, seeds.end);
    let run = |seeds: std::ops::Range<u64>| -> Vec<Trial> {
        seeds.map(|seed| trial(seed, fault, with_sound)).collect()
    };
    std::thread::scope(|scope| {
        let second = scope.spawn(|| run(middle..seeds.end));
        let mut all = run(seeds.start..middle);
        all.extend(second.join().expect("a trial does not panic"));
        all
    })
}

/// Share in percent with Wilson's interval at 95 %.
fn share<'a>(all: impl Iterator<Item = &'a Trial>, is_so: impl Fn(&Trial) -> bool) -> String {
    let (mut n, mut hits) = (0.0, 0.0);
    for trial in all {
        n += 1.0;
        hits += f64::from(u8::from(is_so(trial)));
    }
    if n < 1.0 {
        return "–".to_owned();
    }
    let (p, z2) = (hits / n, 1.96f64 * 1.96);
    let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = (z2 * (p * (1.0 - p) / n + z2 / (4.0 * n * n))).sqrt() / (1.0 + z2 / n);
    format!(
        "{:.1} ({:.1}–{:.1}) of {n}",
        100.0 * p,
        100.0 * (middle - half).max(0.0),
        100.0 * (middle + half)
    )
}

fn main() {
    let option = |name: &str| std::env::args().skip_while(|a| a != name).nth(1);
    let number =
        |name: &str, usual: u64| option(name).and_then(|n| n.parse().ok()).unwrap_or(usual);
    let with_sound = !std::env::args().any(|argument| argument == "--track");
    let erratic = |trial: &Trial| trial.verdict == SweepVerdict::Erratic;

    let clean = trials(500_000..500_000 + number("--clean", 2000), None, with_sound);
    println!("clean, accused %: {}", share(clean.iter(), erratic));
    for (kind, name) in HANDS.iter().enumerate() {
        let of_kind = || clean.iter().filter(|trial| trial.kind == kind);
        println!("  {name}: {}", share(of_kind(), erratic));
    }
    let unclear = |trial: &Trial| trial.verdict == SweepVerdict::Unclear;
    println!("  unclear: {}", share(clean.iter(), unclear));
    println!();
    println!("| shape | depth % | found %, dwell ≥ lag | found %, shorter | in place, of found |");
    println!("| --- | --- | --- | --- | --- |");
    let mut first = 600_000;
    for shape in [Shape::Box, Shape::Bump, Shape::Random] {
        for depth in [1.0, 0.5, 0.3] {
            let cell = trials(
                first..first + number("--cell", 400),
                Some((shape, depth)),
                with_sound,
            );
            first += 10_000;
            println!(
                "| {shape:?} | {depth} | {} | {} | {} |",
                share(cell.iter().filter(|trial| trial.long), erratic),
                share(cell.iter().filter(|trial| !trial.long), erratic),
                share(cell.iter().filter(|trial| erratic(trial)), |trial| trial
                    .placed),
            );
        }
    }
}
