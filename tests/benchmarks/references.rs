//! What references that are told by time are worth: `cargo bench --bench
//! references -- passage` or `-- marks`. Invented sounds on an invented
//! machine, −10 to +10 % off, with wow, hiss and hum; the sample clock is
//! right and left out of the ±. A number behind the name runs so many cases of
//! each row instead of its own: `-- passage 400`.

#[path = "../support/mod.rs"]
mod support;

use std::collections::BTreeMap;

use support::seeds::{Errors, each, has, numbers};
use support::sound;
use support::timed_sounds::{Click, Content, Fade, Machine, Marks, Quick, passage, seeded};
use tapewright::readings::timed::{MarksMeter, PassageMeter};
use tapewright::readings::{CautionCode, Measurement, Meter, ReferenceKind, Settings};
use tapewright::units::{Ppm, Seconds};

fn main() {
    let cases = numbers().first().map(|it| *it as u64);
    let all = !has("passage") && !has("marks");
    if all || has("passage") {
        passages(cases);
    }
    if all || has("marks") {
        all_marks(cases);
    }
}

fn settings(kind: ReferenceKind, rate_hz: f64) -> Settings {
    let mut settings = sound::settings(rate_hz as u32, 1);
    settings.conditions.kind = kind;
    settings.conditions.clock.uncertainty = Ppm(0.0);
    settings
}

/// Error and ± of what was measured, or why nothing was.
type Judged = Result<(f64, f64), CautionCode>;

fn judged(got: &Measurement, truth: f64) -> Judged {
    let speed = got.speed.ok_or_else(|| got.cautions[0].code())?;
    let limit = speed.uncertainty.map_or(f64::NAN, |limit| limit.0);
    Ok((speed.deviation.0 - truth, limit))
}

const HEAD: &str = "                                    of  ref.  median %  95 % of %   median ±  within  worst/± (seed)";

fn print(name: &str, errors: &Errors) {
    let ratio = |it: &(u64, f64, f64)| (it.1 / it.2, it.0);
    let worst = errors.known.iter().map(ratio);
    let (worst, seed) = worst.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or_default();
    let refused = errors.missed.len();
    println!(
        "{name:<34} {:>4} {refused:>4} {:>9.5} {:>9.5} {:>9.5} {:>6.1}  {worst:.1} ({seed})",
        errors.known.len() + refused,
        errors.error(0.5),
        errors.error(0.95),
        errors.limit(),
        100.0 * errors.covered(),
    );
}

/// Judges as many cases, prints a row of them, and why some were refused.
fn run(name: &str, cases: u64, one: impl Fn(u64) -> Judged + Sync) -> Errors {
    let all = each(0..cases, one);
    let errors = Errors::of(all.iter().map(|it| it.ok()));
    print(name, &errors);
    let mut refused: BTreeMap<CautionCode, usize> = BTreeMap::new();
    for code in all.iter().filter_map(|it| it.err()) {
        *refused.entry(code).or_default() += 1;
    }
    println!("{:>36} {refused:?}", "");
    errors
}

fn passages(asked: Option<u64>) {
    println!("A passage, % of speed; refused ones are not in the figures\n{HEAD}");
    let clean = [Fade::Abrupt, Fade::Cosine(0.02)];
    let short = [Fade::Straight(0.2), Fade::Cosine(0.2)];
    let slow = [Fade::Cosine(1.0), Fade::Straight(2.0)];
    let all = [Content::Tone, Content::Music, Content::Speech];
    let mut sum = Errors::default();
    for (name, contents, fades, seconds, usual) in [
        ("200 s, edges to 20 ms", &all[..], &clean[..], 200.0, 120),
        ("30 s, tone, edges to 20 ms", &all[..1], &clean, 30.0, 60),
        ("30 s, music, edges to 20 ms", &all[1..2], &clean, 30.0, 60),
        ("30 s, speech, edges to 20 ms", &all[2..], &clean, 30.0, 60),
        ("30 s, fades of 0.2 s", &all[..], &short, 30.0, 120),
        ("30 s, fades of 1 and 2 s", &all[..], &slow, 30.0, 120),
    ] {
        let cases = asked.unwrap_or(usual);
        sum.join(&run(name, cases, |seed| {
            let mut chance = seeded(1000 * (seconds as u64) + seed);
            let content = contents[seed as usize % contents.len()];
            let fade = fades[seed as usize / contents.len() % fades.len()];
            one_passage(content, fade, seconds, &mut chance)
        }));
    }
    print("all", &sum);
}

fn machine(snr_db: f64, chance: &mut Quick) -> Machine {
    let wow = chance.between(0.02, 0.2);
    let mut machine = Machine::new(snr_db).with_wow(wow, chance);
    machine.speed = 1.0 + chance.between(-0.1, 0.1);
    machine.rate_hz = chance.one_of(&[16_000.0, 22_050.0]);
    if chance.between(0.0, 1.0) < 0.3 {
        machine.hum = 0.03;
    }
    machine
}

fn one_passage(content: Content, fade: Fade, seconds: f64, chance: &mut Quick) -> Judged {
    let tape = passage(content, seconds, fade, chance);
    let snr = chance.one_of(&[60.0, 40.0, 30.0, 20.0]);
    let machine = machine(snr, chance);
    let lead = chance.between(0.5, 3.0);
    let whole = (lead + seconds + chance.between(0.5, 3.0)) / machine.speed;
    let sound = machine.play(&tape, lead, whole, chance);
    let settings = settings(ReferenceKind::Passage, machine.rate_hz);
    let mut meter = PassageMeter::new(settings, Seconds(seconds)).expect("a usual format");
    meter.push(&sound);
    judged(&meter.measurement(), 100.0 * (machine.speed - 1.0))
}

fn all_marks(asked: Option<u64>) {
    println!("Marks within 60 s, % of speed; refused ones are not in the figures\n{HEAD}");
    let mut sum = Errors::default();
    for (name, click, spacings, usual) in [
        ("own bursts, 1 s and less", None, &[1.0, 0.5, 0.2][..], 120),
        ("own bursts, two to four", None, &[20.0, 30.0, 58.0], 60),
        ("pulses", Some(Click::Pulse), &[1.0, 0.5, 5.0], 80),
        ("wood", Some(Click::Wood), &[1.0, 0.5, 5.0], 80),
        ("pips", Some(Click::Pip), &[1.0, 0.5, 5.0], 80),
    ] {
        let cases = asked.unwrap_or(usual);
        sum.join(&run(name, cases, |seed| {
            let spacing_s = spacings[seed as usize % spacings.len()];
            one_row_of_marks(click, spacing_s, &mut seeded(77 * usual + seed))
        }));
    }
    print("all", &sum);
    for content in [Content::Tone, Content::Music, Content::Speech] {
        let taken = each(0..100, |seed| {
            let mut chance = seeded(seed + 5);
            let tape = passage(content, 30.0, Fade::Cosine(0.02), &mut chance);
            let machine = machine(40.0, &mut chance);
            let sound = machine.play(&tape, 1.0, 32.0 / machine.speed, &mut chance);
            let spacing = chance.one_of(&[0.3, 1.0, 10.0]);
            marks_of(&sound, &machine, spacing).speed.is_some()
        });
        let count = taken.iter().filter(|taken| **taken).count();
        println!("{content:?} taken for marks: {count} of 100");
    }
}

fn one_row_of_marks(click: Option<Click>, spacing_s: f64, chance: &mut Quick) -> Judged {
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
    judged(&marks_of(&sound, &machine, spacing_s), truth)
}

fn marks_of(sound: &[f32], machine: &Machine, spacing_s: f64) -> Measurement {
    let settings = settings(ReferenceKind::Marks, machine.rate_hz);
    let mut meter = MarksMeter::new(settings, Seconds(spacing_s)).expect("a usual format");
    meter.push(sound);
    meter.measurement()
}
