//! Which part is named, on simulated machines with one part at fault, through
//! the whole engine: 60 s of a tape whose own error nobody knows.
//!
//! `cargo bench --bench parts`: 200 machines with their own card, 100 with a
//! generic one, 100 with a card that lacks the part; a number says how many,
//! `--seed 1` takes others, `own` does the first only. The line that is judged is the largest one.

#[path = "../support/mod.rs"]
mod support;

use std::collections::BTreeMap;

use support::dice::Dice;
use support::seeds::{asked, each, has, head, row, share};
use support::sound;
use tapewright::readings::{FlutterLines, Measurement};
use tapewright::references::parts::{HeardAt, Naming, PartsCard, attribute, generic};
use tapewright::rehearsal::{PartFault, PracticeMachine, SimulatedMachine};
use tapewright::units::Percent;

/// Faults that show as a line.
const FAULTS: [PartFault; 7] = [
    PartFault::Capstan,
    PartFault::PinchRoller,
    PartFault::Belt,
    PartFault::Motor,
    PartFault::Reel,
    PartFault::Idler,
    PartFault::Ripple,
];

/// Test tapes are off by this, one standard deviation; nobody tells the program
/// but that it may be ± twice as much. Practice, no source.
const TAPE_SD_PERCENT: f64 = 0.25;

/// Before this has played the motor runs up.
const RUN_UP_S: f64 = 3.0;
const PLAYED_S: f64 = 60.0;

/// Which card the lines are held against.
#[derive(Clone, Copy, PartialEq)]
enum Card {
    /// The machine's own.
    Matching,
    /// The generic one of its kind.
    Generic,
    /// Its own, without the part at fault.
    WithoutIt,
}

struct Case {
    fault: &'static str,
    named: String,
    outcome: &'static str,
}

/// 60 s of the machine, by a tape that is a little off.
fn measured(practice: &PracticeMachine, seed: u64) -> Measurement {
    let mut dice = Dice::new(seed ^ 0x7061_7274);
    let mut config = practice.config.clone();
    config.tone_hz *= 1.0 + TAPE_SD_PERCENT / 100.0 * dice.gaussian();
    let (rate_hz, channels) = (config.rate_hz, config.channels);
    let mut settings = sound::settings(rate_hz, channels);
    settings.conditions.reference.uncertainty = Some(Percent(2.0 * TAPE_SD_PERCENT));
    let mut engine = sound::engine(settings).without_readings();
    let mut machine = SimulatedMachine::new(config, seed);
    let mut block = vec![0.0; usize::from(channels) * rate_hz as usize / 10];
    let blocks = |seconds: f64| (10.0 * seconds) as usize;
    for _ in 0..blocks(RUN_UP_S) {
        machine.fill(&mut block);
    }
    for _ in 0..blocks(PLAYED_S) {
        machine.fill(&mut block);
        engine.push(&block);
    }
    engine.measurement()
}

fn card_of(practice: &PracticeMachine, which: Card) -> Option<PartsCard> {
    let parts = practice.parts.as_ref()?;
    let mut card = PartsCard::from_toml(&parts.card_text("bench")).expect("a card");
    match which {
        Card::Matching => {}
        Card::Generic => {
            let kind = |card: &&PartsCard| parts.transport.contains(&card.name);
            card = generic().iter().find(kind)?.clone();
        }
        Card::WithoutIt => {
            let faulty = &parts.parts[parts.faulty?].name;
            card.parts.retain(|part| part.name != *faulty);
        }
    }
    Some(card)
}

/// What is said of the largest line.
fn judged(lines: &FlutterLines, truth: Option<&str>) -> (String, &'static str) {
    let largest = lines
        .lines
        .iter()
        .max_by(|a, b| a.peak.0.total_cmp(&b.peak.0));
    let Some(largest) = largest else {
        return ("no line".to_owned(), "no line");
    };
    let naming = Naming::of(lines, largest);
    let is_right = |name: &str| truth == Some(name);
    match &naming {
        Naming::Mains(_) | Naming::MainsPerhaps(_) => {
            let outcome = if truth == Some("mains") {
                "right alone"
            } else {
                "wrong alone"
            };
            ("mains".to_owned(), outcome)
        }
        Naming::KeepsRate | Naming::NotOnCard | Naming::NoCard => {
            ("don't know".to_owned(), "don't know")
        }
        Naming::Part(part) => {
            let outcome = if is_right(&part.name) {
                "right alone"
            } else {
                "wrong alone"
            };
            (part.name.clone(), outcome)
        }
        Naming::Perhaps(parts) => {
            let first = &parts[0].name;
            let outcome = match parts.iter().position(|part| is_right(&part.name)) {
                Some(0) if parts.len() == 1 => "right alone",
                Some(0) => "right first of several",
                Some(_) => "right among several",
                // One name with a question mark is still one name.
                None if parts.len() == 1 => "wrong alone",
                None => "wrong several",
            };
            (first.clone(), outcome)
        }
    }
}

fn case(seed: u64, which: Card) -> Option<Case> {
    let fault = FAULTS[(seed % FAULTS.len() as u64) as usize];
    let practice = PracticeMachine::of_seed(seed).with_part(fault, seed);
    let card = card_of(&practice, which)?;
    let parts = practice.parts.as_ref()?;
    let faulty = parts.faulty.map(|at| parts.parts[at].name);
    let mut measurement = measured(&practice, seed);
    let (lines, speed) = measurement.lines.as_mut().zip(measurement.speed)?;
    attribute(lines, &card, &HeardAt::of(&speed, false, None));
    let truth = match fault {
        PartFault::Ripple => Some("mains"),
        _ if which == Card::WithoutIt => None,
        _ => faulty,
    };
    let (named, outcome) = judged(lines, truth);
    Some(Case {
        fault: faulty.unwrap_or("mains"),
        named,
        outcome,
    })
}

fn table(which: Card, name: &str, count: u64, set: u64) {
    let first = set * 1_000_000 + 40_000;
    let cases: Vec<Option<Case>> = each(first..first + count, |seed| case(seed, which));
    let missing = cases.iter().filter(|case| case.is_none()).count();
    let cases: Vec<Case> = cases.into_iter().flatten().collect();
    println!(
        "\n{name}: {} machines ({missing} have no such card or no lines)",
        cases.len()
    );
    head("outcome | share");
    let mut outcomes: BTreeMap<&str, usize> = BTreeMap::new();
    for case in &cases {
        *outcomes.entry(case.outcome).or_default() += 1;
    }
    for (outcome, hits) in outcomes {
        row(&[&outcome, &share(hits, cases.len())]);
    }
    let first = cases.iter().filter(|it| {
        it.outcome.starts_with("right alone") || it.outcome.starts_with("right first")
    });
    println!("\nright part first: {}", share(first.count(), cases.len()));
    head("at fault | named first: how often");
    let mut named: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    for case in &cases {
        let row = named.entry(case.fault).or_default();
        *row.entry(&case.named).or_default() += 1;
    }
    for (fault, named) in &named {
        let each: Vec<String> = named
            .iter()
            .map(|(name, hits)| format!("{name} {hits}"))
            .collect();
        row(&[fault, &each.join(", ")]);
    }
}

fn main() {
    let (count, set) = asked();
    let few = count.map_or(100, |count| count / 2);
    table(
        Card::Matching,
        "the machine's own card",
        count.unwrap_or(200),
        set,
    );
    if has("own") {
        return;
    }
    table(Card::Generic, "a generic card of its kind", few, set);
    table(Card::WithoutIt, "a card without the part", few, set);
}
