//! How many faults of a wiper are found, and how often a clean one is accused.
//!
//! `cargo bench --bench sweep`: invented sweeps of one round trip, each made
//! into sound (3150 Hz, mono, 16 kHz, hiss 46 dB below the tone) and pushed
//! through the engine. Hands of five kinds take turns; two are those of the
//! rehearsal, three are written apart from it. 2,000 clean sweeps, 400 a cell
//! of faults; a fault counts as found when the verdict is erratic. Intervals
//! are Wilson's at 95 %. `-- --cell 100 --clean 500` makes fewer;
//! `-- --track` leaves the sound out. A second table has other ways of sweeping
//! and other faults; `-- --cases` makes that one alone, `-- --cases --like back`
//! those of its cases that have the word in their names. `-- --hands` holds
//! every hand by itself against clean trimmers and sharp faults, with right speed
//! within the travel and near its ends, on seeds that nothing was tuned on;
//! `--tuning` takes those that it was.

#[path = "../support/mod.rs"]
mod support;

use std::f64::consts::TAU;
use support::odd_hands;

use support::seeds::{each, has, head, option, quantile, row, share as share_of};
use support::sound;
use support::sweeps::{Dice, Fault, RATE_HZ, Shape, Sweep, even_but_shaky, movements, staircase};
use tapewright::readings::{BadSpot, SpotKind, SweepReport, SweepVerdict, judge_track};
use tapewright::rehearsal::{SweepingConfig, SweepingHand};

const SOUND_HZ: u32 = 16_000;
/// Hands that sweep, and whether the detector was tuned on them. The first
/// [`USUAL`] make the tables of old.
const HANDS: [(&str, bool); 13] = [
    ("wandering", true),
    ("wandering, rough", true),
    ("movements", true),
    ("staircase", true),
    ("even but shaky", true),
    ("wobbling", true),
    (BEATING, true),
    ("tremor", true),
    ("stick and slip", false),
    ("pausing", false),
    ("fast and slow", false),
    ("regripping", true),
    ("thumbing", false),
];
const USUAL: u64 = 5;
const BEATING: &str = "beating";
/// The range of a sweep by the beating hand, in percent.
const BEATEN_RANGE: f64 = 12.0;

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
        4 => even_but_shaky(dice),
        5 => odd_hands::wobbling(dice),
        6 => odd_hands::beating(BEATEN_RANGE, dice),
        7 => odd_hands::tremor(dice),
        8 => odd_hands::stick_slip(dice),
        9 => odd_hands::pausing(dice),
        10 => odd_hands::fast_and_slow(dice),
        11 => odd_hands::regripping(dice),
        _ => odd_hands::thumbing(dice),
    }
}

/// The track as a tone in hiss, through the engine.
fn judged(track: &[f64], with_sound: bool, dice: &mut Dice) -> SweepReport {
    if !with_sound {
        return judge_track(track, RATE_HZ);
    }
    let mut engine = sound::engine(sound::settings(SOUND_HZ, 1)).without_readings();
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

/// What is swept and how.
#[derive(Clone, Copy)]
struct Case {
    name: &'static str,
    faults: u32,
    shape: Shape,
    depth: f64,
    /// Of the travel; the usual 2 to 5 % where there is none.
    width: Option<f64>,
    round_trips: u64,
    /// The sweep begins in the middle of the travel and ends there.
    from_middle: bool,
    /// Where right speed lies, as a share of the travel.
    right_at: Option<f64>,
    /// The hand rests on the fault before it begins.
    rests_on_it: bool,
    /// In percent of speed.
    backlash: f64,
    /// Whose; the usual ones in turn where there is none.
    hand: Option<usize>,
}

impl Case {
    const CLEAN: Self = Self {
        name: "clean",
        faults: 0,
        shape: Shape::Box,
        depth: 0.0,
        width: None,
        round_trips: 1,
        from_middle: false,
        right_at: None,
        rests_on_it: false,
        backlash: 0.0,
        hand: None,
    };

    const fn faulty(shape: Shape, depth: f64) -> Self {
        Self {
            name: "",
            faults: 1,
            shape,
            depth,
            ..Self::CLEAN
        }
    }
}

/// What came of a sweep.
struct Trial {
    kind: usize,
    long: bool,
    verdict: SweepVerdict,
    /// How many of the faults were found where they are.
    placed: usize,
    faults: usize,
    /// Spots where there is no fault.
    stray: usize,
    kinds: Vec<SpotKind>,
    smallest_seen: f64,
    /// As reported less the true one, in percent of speed; whether it lies
    /// within what the report allows for.
    backlash_off: Option<f64>,
}

fn hands(case: &Case, kind: usize, seed: u64) -> Vec<f64> {
    let mut positions = Vec::new();
    for nth in 0..case.round_trips {
        positions.extend(hand(kind, seed + 1_000_000 * nth));
    }
    if case.from_middle {
        let highest = (0..positions.len()).max_by(|&a, &b| positions[a].total_cmp(&positions[b]));
        let out = (0..highest.unwrap_or(0)).find(|&k| positions[k] > 0.5);
        positions.rotate_left(out.unwrap_or(0));
    }
    positions
}

fn trial(seed: u64, case: &Case, with_sound: bool) -> Trial {
    let kind = case.hand.unwrap_or((seed % USUAL) as usize);
    let mut dice = Dice::new(seed);
    let mut sweep = Sweep::clean(hands(case, kind, seed), &mut dice);
    if HANDS[kind].0 == BEATING {
        (sweep.low, sweep.high) = (-0.5 * BEATEN_RANGE, 0.5 * BEATEN_RANGE);
        sweep.lag_s = dice.between(0.15, 0.25);
    }
    for _ in 0..case.faults {
        sweep = sweep.with_fault(case.shape, case.depth, &mut dice);
    }
    if let (Some(width), Some(fault)) = (case.width, sweep.faults.first_mut()) {
        fault.width = width;
    }
    if let Some(right_at) = case.right_at {
        let range = sweep.high - sweep.low;
        (sweep.low, sweep.high) = (-right_at * range, (1.0 - right_at) * range);
    }
    if case.rests_on_it {
        let centre = sweep.faults[0].centre;
        let rest = dice.between(4.0, 8.0) * RATE_HZ;
        let on = sweep
            .positions
            .iter()
            .position(|&p| p >= centre)
            .unwrap_or(0);
        sweep
            .positions
            .splice(on..on, std::iter::repeat_n(centre, rest as usize));
    }
    sweep.backlash_percent = case.backlash;
    let track = sweep.track(&mut dice);
    let report = judged(&track, with_sound, &mut dice);
    let near = 0.05 * (sweep.high - sweep.low);
    let is_found = |fault: &&Fault| {
        let at = sweep.percent_at(sweep.electrical(fault.centre));
        report
            .bad_spots
            .iter()
            .any(|spot| (spot.at.0 - at).abs() < near)
    };
    let is_stray = |spot: &&BadSpot| {
        !sweep.faults.iter().any(|fault| {
            (sweep.percent_at(sweep.electrical(fault.centre)) - spot.at.0).abs() < near
        })
    };
    Trial {
        kind,
        long: !sweep.faults.is_empty() && sweep.shortest_dwell_s() >= sweep.lag_s,
        verdict: report.verdict,
        placed: sweep.faults.iter().filter(is_found).count(),
        faults: sweep.faults.len(),
        stray: report.bad_spots.iter().filter(is_stray).count(),
        smallest_seen: report.smallest_seen.map_or(f64::NAN, |it| it.0),
        kinds: report.bad_spots.iter().map(|spot| spot.kind).collect(),
        backlash_off: report.backlash.map(|by| by.0 - case.backlash),
    }
}

fn trials(seeds: std::ops::Range<u64>, case: &Case, with_sound: bool) -> Vec<Trial> {
    each(seeds, |seed| trial(seed, case, with_sound))
}

fn share<'a>(all: impl Iterator<Item = &'a Trial>, is_so: impl Fn(&Trial) -> bool) -> String {
    let all: Vec<bool> = all.map(is_so).collect();
    share_of(all.iter().filter(|it| **it).count(), all.len())
}

fn erratic(trial: &Trial) -> bool {
    trial.verdict == SweepVerdict::Erratic
}

fn unclear(trial: &Trial) -> bool {
    trial.verdict == SweepVerdict::Unclear
}

fn main() {
    let number = |name: &str, usual: u64| option(name).unwrap_or(usual);
    let with_sound = !has("--track");
    let each = number("--cell", 400);
    let like: String = option("--like").unwrap_or_default();
    if has("--hands") {
        let is_tuning = has("--tuning");
        let first = if is_tuning { TUNED_FROM } else { JUDGED_FROM };
        return every_hand(number("--clean", 400), each, first, with_sound, &like);
    }
    if !has("--cases") {
        one_round_trip(number("--clean", 2000), each, with_sound);
    }
    cases(each, with_sound, &like);
}

/// Seeds that the detector was tuned on, and those it is judged by.
const TUNED_FROM: u64 = 10_000_000;
const JUDGED_FROM: u64 = 40_000_000;

/// Where right speed lies near an end of the travel, as shares of it.
const NEAR_ENDS: [f64; 4] = [0.03, 0.1, 0.9, 0.97];

/// The same number of trials with right speed at each of [`NEAR_ENDS`].
fn near_ends(first: u64, count: u64, case: &Case, with_sound: bool) -> Vec<Trial> {
    let each = count.div_ceil(NEAR_ENDS.len() as u64);
    let at_end = |(nth, &right_at): (usize, &f64)| {
        let case = Case {
            right_at: Some(right_at),
            ..*case
        };
        let first = first + nth as u64 * each;
        trials(first..first + each, &case, with_sound)
    };
    NEAR_ENDS.iter().enumerate().flat_map(at_end).collect()
}

/// What each hand makes of a clean trimmer and of sharp faults.
fn every_hand(cleans: u64, each: u64, first: u64, with_sound: bool, like: &str) {
    println!("seeds from {first} (tuned on: {TUNED_FROM}, judged by: {JUDGED_FROM})");
    head("hand | clean, accused % | not judged % | 1 % found | 0.5 % | 0.3 %");
    for (kind, (name, is_tuned)) in HANDS.iter().enumerate() {
        if !name.contains(like) {
            continue;
        }
        let from = first + 100_000 * kind as u64;
        let told = if *is_tuned { "tuned on" } else { "judged only" };
        for at_end in [false, true] {
            let of = |case: Case, from: u64, count: u64| {
                let case = Case {
                    hand: Some(kind),
                    ..case
                };
                if at_end {
                    near_ends(from + 50_000, count, &case, with_sound)
                } else {
                    trials(from..from + count, &case, with_sound)
                }
            };
            let clean = of(Case::CLEAN, from, cleans);
            let found = [1.0, 0.5, 0.3].map(|depth| {
                let from = from + 10_000 + (depth * 20_000.0) as u64;
                // Nothing is promised of the smallest.
                let each = if at_end && depth < 0.5 { 0 } else { each };
                let cell = of(Case::faulty(Shape::Box, depth), from, each);
                share(cell.iter(), erratic)
            });
            let place = if at_end { ", near an end" } else { "" };
            row(&[
                &format!("{name}{place}, {told}"),
                &share(clean.iter(), erratic),
                &share(clean.iter(), unclear),
                &found.join(" | "),
            ]);
        }
    }
}

fn one_round_trip(cleans: u64, each: u64, with_sound: bool) {
    let clean = trials(500_000..500_000 + cleans, &Case::CLEAN, with_sound);
    println!("clean, accused %: {}", share(clean.iter(), erratic));
    for (kind, (name, _)) in HANDS.iter().enumerate().take(USUAL as usize) {
        let of_kind = || clean.iter().filter(|trial| trial.kind == kind);
        println!("  {name}: {}", share(of_kind(), erratic));
    }
    println!("  unclear: {}", share(clean.iter(), unclear));
    let at = |part| quantile(clean.iter().map(|trial| trial.smallest_seen), part);
    let [low, middle, high] = [0.1, 0.5, 0.9].map(at);
    println!("  smallest seen, by its own word, %: {middle:.2} ({low:.2}–{high:.2})");
    head("shape | depth % | found %, dwell ≥ lag | found %, shorter | in place, of found");
    let mut first = 600_000;
    for shape in [Shape::Box, Shape::Bump, Shape::Random] {
        for depth in [1.0, 0.5, 0.3] {
            let case = Case::faulty(shape, depth);
            let cell = trials(first..first + each, &case, with_sound);
            first += 10_000;
            let is_placed = |trial: &Trial| trial.placed > 0;
            row(&[
                &format!("{shape:?} | {depth}"),
                &share(cell.iter().filter(|trial| trial.long), erratic),
                &share(cell.iter().filter(|trial| !trial.long), erratic),
                &share(cell.iter().filter(|trial| erratic(trial)), is_placed),
            ]);
        }
    }
}

/// What else a technician does, and what else a trimmer has.
fn other_cases() -> [Case; 16] {
    let named = |name, case| Case { name, ..case };
    let twice = |name, case| Case {
        name,
        round_trips: 2,
        ..case
    };
    let from_middle = |name, case| Case {
        name,
        from_middle: true,
        ..case
    };
    let jump = |depth| Case::faulty(Shape::Box, depth);
    let dead = |width| Case {
        width: Some(width),
        ..Case::faulty(Shape::Dead, 0.0)
    };
    let back = |name, backlash| Case {
        name,
        backlash,
        ..jump(1.0)
    };
    let right_at = |name, place| Case {
        name,
        right_at: Some(place),
        ..Case::CLEAN
    };
    [
        twice("clean, two round trips", Case::CLEAN),
        twice("1 %, two round trips", jump(1.0)),
        twice("0.5 %, two round trips", jump(0.5)),
        twice("0.3 %, two round trips", jump(0.3)),
        from_middle("clean, from the middle", Case::CLEAN),
        from_middle("1 %, from the middle", jump(1.0)),
        Case {
            name: "three of 1 %",
            faults: 3,
            ..jump(1.0)
        },
        named("dead, 5 % of the travel", dead(0.05)),
        named("dead, 10 %", dead(0.1)),
        twice("dead, 10 %, two round trips", dead(0.1)),
        Case {
            name: "rest on a bad contact, 0.5 %",
            rests_on_it: true,
            ..Case::faulty(Shape::Random, 0.5)
        },
        back("1 %, back where out was", 0.0),
        back("1 %, back 0.3 % from out", 0.3),
        back("1 %, back 0.6 % from out", 0.6),
        right_at("right speed at 0.05 of the travel", 0.05),
        right_at("right speed at 0.15 of the travel", 0.15),
    ]
}

/// Judges them.
fn cases(each: u64, with_sound: bool, like: &str) {
    head("case | erratic % | in place % | elsewhere | near the end % | unclear % | kinds");
    let mut first = 790_000;
    for case in other_cases() {
        first += 10_000;
        if !case.name.contains(like) {
            continue;
        }
        let cell = trials(first..first + each, &case, with_sound);
        let is = |verdict: SweepVerdict| share(cell.iter(), |trial| trial.verdict == verdict);
        let sum = |of: fn(&Trial) -> usize| cell.iter().map(of).sum::<usize>();
        let faults = sum(|it| it.faults);
        let placed = 100.0 * sum(|it| it.placed) as f64 / faults.max(1) as f64;
        row(&[
            &case.name,
            &is(SweepVerdict::Erratic),
            &format!("{placed:.1} of {faults}"),
            &sum(|it| it.stray),
            &is(SweepVerdict::NearEnd),
            &is(SweepVerdict::Unclear),
            &kinds(&cell),
        ]);
        if case.name.contains("back") {
            println!("{}", backlashes(&cell));
        }
    }
}

/// How far from the truth the backlash is said to be.
fn backlashes(cell: &[Trial]) -> String {
    let known: Vec<f64> = cell.iter().filter_map(|it| it.backlash_off).collect();
    let at = |part| quantile(known.iter().map(|off| off.abs()), part);
    format!(
        "  backlash told in {}; off by {:.2} % (95 in 100: {:.2})",
        known.len(),
        at(0.5),
        at(0.95),
    )
}

fn kinds(cell: &[Trial]) -> String {
    let all = [
        SpotKind::Jump,
        SpotKind::Reversal,
        SpotKind::Dead,
        SpotKind::Crackle,
    ];
    let count = |kind: SpotKind| {
        cell.iter()
            .flat_map(|it| &it.kinds)
            .filter(|it| **it == kind)
            .count()
    };
    all.map(|kind| format!("{kind:?} {}", count(kind)))
        .join(", ")
}
