//! Whatever comes in, in whatever order somebody works the keys: every number
//! that comes out is a number, and one that can be.

use std::fmt::Debug;
use std::sync::{Arc, LazyLock};

use proptest::prelude::*;
use proptest::test_runner::{Config, FileFailurePersistence, RngSeed};

use crate::support::dice::Dice;
use crate::support::figures::{faults, figures};
use crate::support::sound::sine;
use crate::support::tunes;
use tapewright::readings::contact::ContactCheck;
use tapewright::readings::matching::Copy;
use tapewright::readings::{
    ChannelChoice, Conditions, Engine, KeepRequest, Nominal, Reading, ReferenceKind, Settings,
    Target, recorded,
};
use tapewright::units::{Hertz, Percent, Seconds};

/// Rates that inputs have, slowest and fastest that are taken among them.
const RATES_HZ: [u32; 9] = [
    8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000, 384_000, 768_000,
];

/// What may come in.
#[derive(Clone, Copy, Debug)]
enum Signal {
    Silence,
    Constant,
    Denormal,
    NoNumber,
    Infinite,
    Huge,
    Wild,
    AnyBits,
    Impulses,
    Noise,
    Tone,
    /// The tone, and a bad number now and then.
    HolesInTone,
    /// The tone in the first channel, no number in the others.
    OneChannel,
    Clipped,
    Glide,
    FadingTone,
    Clicks,
}

const SIGNALS: [Signal; 17] = [
    Signal::Silence,
    Signal::Constant,
    Signal::Denormal,
    Signal::NoNumber,
    Signal::Infinite,
    Signal::Huge,
    Signal::Wild,
    Signal::AnyBits,
    Signal::Impulses,
    Signal::Noise,
    Signal::Tone,
    Signal::HolesInTone,
    Signal::OneChannel,
    Signal::Clipped,
    Signal::Glide,
    Signal::FadingTone,
    Signal::Clicks,
];

impl Signal {
    /// Interleaved frames from the `from`th on.
    fn samples(self, format: (u32, u16), from: u64, frames: usize, dice: &mut Dice) -> Vec<f32> {
        let (rate_hz, channels) = format;
        let rate = f64::from(rate_hz);
        let mut samples = Vec::with_capacity(frames * usize::from(channels));
        for n in from..from + frames as u64 {
            let t = n as f64 / rate;
            for channel in 0..channels {
                samples.push(self.sample(t, channel, dice));
            }
        }
        samples
    }

    fn sample(self, t: f64, channel: u16, dice: &mut Dice) -> f32 {
        let tone = 0.4 * sine(3118.5 * t + 0.3 * (7.0 * t).sin());
        match self {
            Self::Silence => 0.0,
            Self::Constant => 0.7,
            Self::Denormal => dice.one_of(&[1e-42, -1e-45, 1e-38]),
            Self::NoNumber => f32::NAN,
            Self::Infinite => dice.one_of(&[f32::INFINITY, f32::NEG_INFINITY]),
            Self::Huge => dice.one_of(&[3e38, -3e38]),
            Self::Wild => 999.0 * sine(1000.0 * t) as f32,
            Self::AnyBits => f32::from_bits(dice.below(1 << 32) as u32),
            Self::Impulses => f32::from(u8::from(dice.chance(1e-3))),
            Self::Noise => (0.3 * dice.bell()) as f32,
            Self::HolesInTone if dice.chance(3e-4) => {
                dice.one_of(&[f32::NAN, f32::INFINITY, 1e30, -1e-40])
            }
            Self::OneChannel if channel > 0 => f32::NAN,
            Self::Tone | Self::HolesInTone | Self::OneChannel => tone as f32,
            Self::Clipped => (30.0 * tone).clamp(-1.0, 1.0) as f32,
            Self::Glide => (0.4 * sine(300.0 * (1.0 + t).powi(2))) as f32,
            Self::FadingTone => (tone * (-9.0 * (t % 4.0)).exp()) as f32,
            Self::Clicks => f32::from(u8::from(t % 0.25 < 1e-4)),
        }
    }
}

/// What somebody does.
#[derive(Clone, Copy, Debug)]
enum Deed {
    /// Hundredths of a second of a signal, in blocks of this many frames.
    Play(Signal, u32, usize),
    /// A single frame, or none.
    Frames(Signal, usize),
    Gap(u64),
    Nominal(u8),
    OtherRun(u8),
    Reference(u8),
    Tolerance(u8),
    Keep,
    ForgetKept,
    BeginSweep,
    EndSweep,
    ForgetSweep,
    MarkAnEighth,
    HandsOff,
    HandsOn,
    Edge,
    EndOfInput,
}

fn nominal(which: u8) -> Nominal {
    match which % 6 {
        0 | 1 => Nominal::Fixed(Hertz(3150.0)),
        2 => Nominal::Nearest,
        3 => Nominal::Assumed(Hertz(3150.0)),
        4 => Nominal::Fixed(Hertz(315.0)),
        _ => Nominal::Fixed(Hertz(10_000.0)),
    }
}

static COPY: LazyLock<Arc<Copy>> = LazyLock::new(|| {
    let tune = tunes::tune(5, 2, 12.0);
    Arc::new(Copy::prepare(&tune, tunes::RATE_HZ).unwrap())
});

fn reference(which: u8) -> (Conditions, Target) {
    let mut conditions = Conditions {
        nominal: nominal(which / 8),
        ..Conditions::default()
    };
    let (kind, target) = match which % 8 {
        0..=2 => (ReferenceKind::Tone, Target::Frequency),
        3 => {
            conditions.nominal = Nominal::Fixed(Hertz(440.0));
            (ReferenceKind::Note, Target::Frequency)
        }
        4 => (ReferenceKind::Passage, Target::Time(Seconds(2.0))),
        5 => (ReferenceKind::Marks, Target::Time(Seconds(0.25))),
        6 => (ReferenceKind::Marks, Target::Time(Seconds(1e-3))),
        _ => (ReferenceKind::Recording, Target::Copy(Arc::clone(&COPY))),
    };
    conditions.kind = kind;
    (conditions, target)
}

fn tolerance(which: u8) -> Percent {
    Percent([0.5, 0.5, 0.0, 1e-9, 20.0][usize::from(which % 5)])
}

/// An engine at work, what is played into it, and what has been counted.
struct Bench {
    engine: Engine,
    contact: ContactCheck,
    settings: Settings,
    dice: Dice,
    frames: u64,
    /// Time, clipped samples, dropouts and breaks, as of the last look.
    counted: [f64; 4],
    looked: usize,
}

impl Bench {
    fn new(settings: Settings, target: &Target) -> Self {
        Self {
            engine: Engine::by(settings, target.clone()).expect("a format that is taken"),
            contact: ContactCheck::new(settings.rate_hz, settings.channels),
            settings,
            dice: Dice::new(11),
            frames: 0,
            counted: [0.0; 4],
            looked: 0,
        }
    }

    fn play(&mut self, signal: Signal, frames: usize, block: usize) {
        let format = (self.settings.rate_hz, self.settings.channels);
        let samples = signal.samples(format, self.frames, frames, &mut self.dice);
        self.frames += frames as u64;
        for block in samples.chunks(block.max(1) * usize::from(format.1)) {
            self.engine.push(block);
            self.contact.push(block);
        }
    }

    fn act(&mut self, deed: Deed) -> Result<(), String> {
        let engine = &mut self.engine;
        match deed {
            Deed::Play(signal, hundredths, block) => {
                let frames = u64::from(self.settings.rate_hz) * u64::from(hundredths) / 100;
                // A look in between, as the screen takes many.
                self.play(signal, frames as usize / 2, block);
                self.look()?;
                self.play(signal, frames as usize / 2, block);
            }
            Deed::Frames(signal, frames) => self.play(signal, frames, 1),
            Deed::Gap(lost) => {
                engine.gap(lost);
                self.contact.gap();
                self.frames += lost;
            }
            Deed::Nominal(which) => {
                engine.set_nominal(nominal(which));
                self.counted = [0.0; 4];
            }
            Deed::OtherRun(which) => {
                engine.other_run(nominal(which));
                self.counted = [0.0; 4];
            }
            Deed::Reference(which) => {
                let (conditions, target) = reference(which);
                engine.other_reference(conditions, target);
                self.counted = [0.0; 4];
            }
            Deed::Tolerance(which) => engine.set_tolerance(tolerance(which)),
            Deed::Keep => engine.keep(KeepRequest {
                at_least: Seconds(0.0),
                at_most: Seconds(0.5),
            }),
            Deed::ForgetKept => engine.forget_kept(),
            Deed::BeginSweep => engine.begin_sweep(),
            Deed::EndSweep => {
                if let Some(report) = engine.end_sweep() {
                    sound(&report, "sweep")?;
                }
            }
            Deed::ForgetSweep => engine.forget_sweep(),
            Deed::MarkAnEighth => engine.mark_an_eighth(),
            Deed::HandsOff => engine.hands_off(),
            Deed::HandsOn => engine.hands_on(),
            Deed::Edge => engine.edge_by_hand(),
            Deed::EndOfInput => engine.end_of_input(),
        }
        self.look()
    }

    /// All that can be asked for now.
    fn look(&mut self) -> Result<(), String> {
        let reading = self.engine.reading();
        sound(&reading, "reading")?;
        self.looked += figures(&reading).len();
        let counted = counted(&reading);
        for (now, before) in counted.iter().zip(self.counted) {
            if *now < before {
                return Err(format!("{counted:?} after {:?}", self.counted));
            }
        }
        self.counted = counted;
        let measurement = self.engine.measurement();
        sound(&measurement, "measurement")?;
        self.looked += figures(&measurement).len();
        sound(&self.contact.progress(), "contact")
    }
}

fn counted(reading: &Reading) -> [f64; 4] {
    let signal = &reading.signal;
    [
        reading.at.0,
        signal.clipped_samples as f64,
        signal.dropouts as f64,
        signal.gaps as f64,
    ]
}

fn sound(value: &impl Debug, what: &str) -> Result<(), String> {
    let faults = faults(value);
    if faults.is_empty() {
        Ok(())
    } else {
        Err(format!("{what}: {faults:#?}"))
    }
}

fn settings(
    rate_hz: u32,
    channels: u16,
    choice: ChannelChoice,
    conditions: Conditions,
) -> Settings {
    Settings {
        rate_hz,
        channels,
        choice,
        conditions,
        tolerance: Percent(0.5),
    }
}

/// Each signal alone and after a tone, at every rate, by every kind of
/// reference.
#[test]
fn every_signal_at_every_rate_gives_numbers() {
    let (mut looked, mut wrong) = (0, Vec::new());
    for (nth, rate_hz) in (0u8..).zip(RATES_HZ) {
        for (number, signal) in (0u8..).zip(SIGNALS) {
            let (conditions, target) = reference(number.wrapping_add(3 * nth));
            let channels = 1 + u16::from((nth + number) % 3);
            let choice = [
                ChannelChoice::Auto,
                ChannelChoice::Left,
                ChannelChoice::Right,
            ];
            let choice = choice[usize::from((nth + number) % 3)];
            let settings = settings(rate_hz, channels, choice, conditions);
            let mut bench = Bench::new(settings, &target);
            // What is slow to feed is fed for less long.
            let hundredths = if rate_hz > 100_000 { 15 } else { 60 };
            let deeds = [
                Deed::Frames(signal, 0),
                Deed::Frames(signal, 1),
                Deed::BeginSweep,
                Deed::Keep,
                Deed::Play(signal, hundredths, 997),
                Deed::Gap(17),
                Deed::Play(Signal::Tone, hundredths, 4096),
                Deed::HandsOff,
                Deed::MarkAnEighth,
                Deed::Play(signal, hundredths, 64),
                Deed::EndSweep,
                Deed::EndOfInput,
            ];
            for deed in deeds {
                if let Err(fault) = bench.act(deed) {
                    let kind = conditions.kind;
                    wrong.push(format!(
                        "{rate_hz} Hz, {signal:?}, {kind:?}, {deed:?}: {fault}"
                    ));
                    break;
                }
            }
            looked += bench.looked;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(looked > 30_000, "only {looked} numbers were looked at");
}

/// As `read` reads it: the meters of recordings, the contact check.
#[test]
fn every_signal_as_a_recording_gives_numbers() {
    let mut wrong = Vec::new();
    for (nth, signal) in (0u8..).zip(SIGNALS) {
        for which in 0..8u8 {
            let rate_hz = RATES_HZ[usize::from(nth + which) % 6];
            let channels = 1 + u16::from((nth + which) % 3);
            let (conditions, target) = reference(which);
            let settings = settings(rate_hz, channels, ChannelChoice::Auto, conditions);
            let mut meter = recorded(settings, &target, which % 2 == 0).unwrap();
            let mut contact = ContactCheck::new(rate_hz, channels);
            let mut dice = Dice::new(u64::from(nth));
            let frames = 2 * rate_hz as usize;
            let samples = signal.samples((rate_hz, channels), 0, frames, &mut dice);
            meter.push(&samples);
            contact.push(&samples);
            let checked = sound(&meter.measurement(), "measurement")
                .and_then(|()| sound(&meter.parts(), "parts"))
                .and_then(|()| sound(&meter.end_sweep(), "sweep"))
                .and_then(|()| sound(&contact.report(), "contact"));
            if let Err(fault) = checked {
                wrong.push(format!("{signal:?}, {:?}: {fault}", conditions.kind));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn signal() -> impl Strategy<Value = Signal> {
    // A tone half of the time, or nothing would ever be followed.
    prop_oneof![Just(Signal::Tone), prop::sample::select(SIGNALS.to_vec()),]
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        6 => (signal(), 1..150u32, prop::sample::select(vec![1, 7, 512, 4096, 100_000]))
            .prop_map(|(signal, hundredths, block)| Deed::Play(signal, hundredths, block)),
        2 => (signal(), 0..40usize).prop_map(|(signal, frames)| Deed::Frames(signal, frames)),
        2 => prop_oneof![Just(0), 1..1000u64, 1_000_000..100_000_000u64].prop_map(Deed::Gap),
        1 => any::<u8>().prop_map(Deed::Nominal),
        1 => any::<u8>().prop_map(Deed::OtherRun),
        1 => any::<u8>().prop_map(Deed::Reference),
        1 => any::<u8>().prop_map(Deed::Tolerance),
        3 => prop::sample::select(vec![
            Deed::Keep,
            Deed::ForgetKept,
            Deed::BeginSweep,
            Deed::EndSweep,
            Deed::ForgetSweep,
            Deed::MarkAnEighth,
            Deed::HandsOff,
            Deed::HandsOn,
            Deed::Edge,
            Deed::EndOfInput,
        ]),
    ]
}

fn config() -> Config {
    Config {
        cases: 64,
        rng_seed: RngSeed::Fixed(0x1f),
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(
            "tests/regressions/numbers_stay_numbers.txt",
        ))),
        max_shrink_iters: 60,
        ..Config::default()
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn whatever_is_done_in_whatever_order(
        rate_hz in prop::sample::select(RATES_HZ[..6].to_vec()),
        channels in 1..4u16,
        choice in prop::sample::select(vec![
            ChannelChoice::Auto,
            ChannelChoice::Left,
            ChannelChoice::Right,
        ]),
        which in any::<u8>(),
        deeds in prop::collection::vec(deed(), 1..16),
    ) {
        let (conditions, target) = reference(which);
        let mut bench = Bench::new(settings(rate_hz, channels, choice, conditions), &target);
        for (nth, deed) in deeds.iter().enumerate() {
            let done = bench.act(*deed);
            prop_assert!(done.is_ok(), "deed {nth}, {deed:?}: {done:?}");
        }
    }
}
