//! What references that are told by time are worth: `cargo bench --bench
//! references -- passage` or `-- marks`. Invented sounds on an invented
//! machine, −10 to +10 % off, with wow, hiss and hum; the sample clock is
//! right and left out of the ±. A number behind the name runs so many cases of
//! each row instead of its own: `-- passage 400`.

#[path = "../support/mod.rs"]
mod support;

use std::collections::BTreeMap;

use support::seeds::each;
use support::sound;
use support::timed_sounds::{Click, Content, Fade, Machine, Marks, Split, passage, seeded};
use tapewright::readings::timed::{MarksMeter, PassageMeter};
use tapewright::readings::{CautionCode, Measurement, Meter, ReferenceKind, Settings};
use tapewright::units::{Ppm, Seconds};

fn main() {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    let cases = asked.iter().find_map(|it| it.parse().ok());
    let named = |name: &str| asked.iter().any(|it| it == name);
    let none_named = !named("passage") && !named("marks");
    if none_named || named("passage") {
        passages(cases);
    }
    if none_named || named("marks") {
        all_marks(cases);
    }
}

fn settings(kind: ReferenceKind, rate_hz: f64) -> Settings {
    let mut settings = sound::settings(rate_hz as u32, 1);
    settings.conditions.kind = kind;
    settings.conditions.clock.uncertainty = Ppm(0.0);
    settings
}

/// Errors, ± and refusals of a row of the table.
#[derive(Default)]
struct Row {
    errors: Vec<f64>,
    limits: Vec<f64>,
    within: usize,
    refused: BTreeMap<CautionCode, usize>,
    worst: (f64, u64),
}

impl Row {
    fn add(&mut self, got: &Measurement, truth: f64, seed: u64) {
        let Some(speed) = got.speed else {
            *self.refused.entry(got.cautions[0].code()).or_default() += 1;
            return;
        };
        let error = (speed.deviation.0 - truth).abs();
        let limit = speed.uncertainty.map_or(f64::NAN, |limit| limit.0);
        self.within += usize::from(error <= limit);
        self.errors.push(error);
        self.limits.push(limit);
        if error / limit > self.worst.0 {
            self.worst = (error / limit, seed);
        }
    }

    fn join(&mut self, other: Self) {
        self.errors.extend(other.errors);
        self.limits.extend(other.limits);
        self.within += other.within;
        for (code, count) in other.refused {
            *self.refused.entry(code).or_default() += count;
        }
        if other.worst.0 > self.worst.0 {
            self.worst = other.worst;
        }
    }

    fn print(&mut self, name: &str) {
        let part = |values: &mut Vec<f64>, part: f64| {
            values.sort_by(f64::total_cmp);
            match values.len() {
                0 => f64::NAN,
                count => values[((count as f64 * part) as usize).min(count - 1)],
            }
        };
        let count = self.errors.len();
        let refused: usize = self.refused.values().sum();
        println!(
            "{name:<34} {:>4} {refused:>4} {:>9.5} {:>9.5} {:>9.5} {:>6.1}  {:.1} ({})",
            count + refused,
            part(&mut self.errors, 0.5),
            part(&mut self.errors, 0.95),
            part(&mut self.limits, 0.5),
            100.0 * self.within as f64 / count.max(1) as f64,
            self.worst.0,
            self.worst.1,
        );
    }
}

const HEAD: &str = "                                    of  ref.  median %  95 % of %   median ±  within  worst/± (seed)";

fn run(cases: u64, one: impl Fn(u64, &mut Row) + Sync) -> Row {
    let mut all = Row::default();
    for row in each(0..cases, |seed| {
        let mut row = Row::default();
        one(seed, &mut row);
        row
    }) {
        all.join(row);
    }
    all
}

fn passages(asked: Option<u64>) {
    println!("A passage, % of speed; refused ones are not in the figures\n{HEAD}");
    let clean = [Fade::Abrupt, Fade::Cosine(0.02)];
    let short = [Fade::Straight(0.2), Fade::Cosine(0.2)];
    let slow = [Fade::Cosine(1.0), Fade::Straight(2.0)];
    let all = [Content::Tone, Content::Music, Content::Speech];
    let mut sum = Row::default();
    for (name, contents, fades, seconds, usual) in [
        ("200 s, edges to 20 ms", &all[..], &clean[..], 200.0, 120),
        ("30 s, tone, edges to 20 ms", &all[..1], &clean, 30.0, 60),
        ("30 s, music, edges to 20 ms", &all[1..2], &clean, 30.0, 60),
        ("30 s, speech, edges to 20 ms", &all[2..], &clean, 30.0, 60),
        ("30 s, fades of 0.2 s", &all[..], &short, 30.0, 120),
        ("30 s, fades of 1 and 2 s", &all[..], &slow, 30.0, 120),
    ] {
        let cases = asked.unwrap_or(usual);
        let mut row = run(cases, |seed, row| {
            let mut chance = seeded(1000 * (seconds as u64) + seed);
            let content = contents[seed as usize % contents.len()];
            let fade = fades[seed as usize / contents.len() % fades.len()];
            one_passage(content, fade, seconds, seed, &mut chance, row);
        });
        row.print(name);
        println!("{:>36} {:?}", "", row.refused);
        sum.join(row);
    }
    sum.print("all");
}

fn machine(snr_db: f64, chance: &mut Split) -> Machine {
    let wow = chance.between(0.02, 0.2);
    let mut machine = Machine::new(snr_db).with_wow(wow, chance);
    machine.speed = 1.0 + chance.between(-0.1, 0.1);
    machine.rate_hz = chance.one_of(&[16_000.0, 22_050.0]);
    if chance.between(0.0, 1.0) < 0.3 {
        machine.hum = 0.03;
    }
    machine
}

fn one_passage(
    content: Content,
    fade: Fade,
    seconds: f64,
    seed: u64,
    chance: &mut Split,
    row: &mut Row,
) {
    let tape = passage(content, seconds, fade, chance);
    let snr = chance.one_of(&[60.0, 40.0, 30.0, 20.0]);
    let machine = machine(snr, chance);
    let lead = chance.between(0.5, 3.0);
    let whole = (lead + seconds + chance.between(0.5, 3.0)) / machine.speed;
    let sound = machine.play(&tape, lead, whole, chance);
    let settings = settings(ReferenceKind::Passage, machine.rate_hz);
    let mut meter = PassageMeter::new(settings, Seconds(seconds)).expect("a usual format");
    meter.push(&sound);
    row.add(&meter.measurement(), 100.0 * (machine.speed - 1.0), seed);
}

fn all_marks(asked: Option<u64>) {
    println!("Marks within 60 s, % of speed; refused ones are not in the figures\n{HEAD}");
    let mut sum = Row::default();
    for (name, click, spacings, usual) in [
        ("own bursts, 1 s and less", None, &[1.0, 0.5, 0.2][..], 120),
        ("own bursts, two to four", None, &[20.0, 30.0, 58.0], 60),
        ("pulses", Some(Click::Pulse), &[1.0, 0.5, 5.0], 80),
        ("wood", Some(Click::Wood), &[1.0, 0.5, 5.0], 80),
        ("pips", Some(Click::Pip), &[1.0, 0.5, 5.0], 80),
    ] {
        let cases = asked.unwrap_or(usual);
        let mut row = run(cases, |seed, row| {
            let mut chance = seeded(77 * usual + seed);
            one_row_of_marks(
                click,
                spacings[seed as usize % spacings.len()],
                seed,
                &mut chance,
                row,
            );
        });
        row.print(name);
        println!("{:>36} {:?}", "", row.refused);
        sum.join(row);
    }
    sum.print("all");
    for content in [Content::Tone, Content::Music, Content::Speech] {
        let row = run(100, |seed, row| {
            let mut chance = seeded(seed + 5);
            let tape = passage(content, 30.0, Fade::Cosine(0.02), &mut chance);
            let machine = machine(40.0, &mut chance);
            let sound = machine.play(&tape, 1.0, 32.0 / machine.speed, &mut chance);
            let spacing = chance.one_of(&[0.3, 1.0, 10.0]);
            row.add(&marks_of(&sound, &machine, spacing), 0.0, seed);
        });
        println!("{content:?} taken for marks: {} of 100", row.errors.len());
    }
}

fn one_row_of_marks(
    click: Option<Click>,
    spacing_s: f64,
    seed: u64,
    chance: &mut Split,
    row: &mut Row,
) {
    let count = (59.0 / spacing_s) as usize + 1;
    let mut marks = Marks {
        click,
        ..Marks::row(spacing_s, count)
    };
    if count > 10 && chance.between(0.0, 1.0) < 0.5 {
        marks.missing = (1..count - 1)
            .filter(|_| chance.between(0.0, 1.0) < 0.1)
            .collect();
        marks.others = (0..count / 20).map(|_| chance.between(1.0, 58.0)).collect();
    }
    let mut machine = machine(chance.one_of(&[40.0, 20.0, 10.0]), chance);
    // Against a burst at its loudest; a lone pulse has less to be heard by.
    machine.level = 0.25 / 2f64.sqrt();
    if click == Some(Click::Pulse) {
        machine.snr_db += 10.0;
    }
    let whole = 60.5 / machine.speed;
    let sound = machine.play_with(|place| marks.sample(place), whole, chance);
    let truth = 100.0 * (machine.speed - 1.0);
    row.add(&marks_of(&sound, &machine, spacing_s), truth, seed);
}

fn marks_of(sound: &[f32], machine: &Machine, spacing_s: f64) -> Measurement {
    let settings = settings(ReferenceKind::Marks, machine.rate_hz);
    let mut meter = MarksMeter::new(settings, Seconds(spacing_s)).expect("a usual format");
    meter.push(sound);
    meter.measurement()
}
