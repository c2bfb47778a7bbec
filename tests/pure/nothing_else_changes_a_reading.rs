//! When it began, how loud it is, which way round it is wired, how it was
//! sampled and in what blocks it comes: none of that changes a reading beyond
//! its ±, and the blocks change nothing at all.
//!
//! Machines are invented by proptest, always the same ones; one that failed is
//! remembered in `tests/regressions/` and tried first from then on.

use crate::support::dice::hiss;
use crate::support::sound::{self, Line, Tone};
use proptest::prelude::*;
use proptest::test_runner::{Config, FileFailurePersistence, RngSeed};
use tapewright::readings::{
    CautionCode, ChannelUsed, Engine, KeepRequest, Keeping, Measurement, Settings,
};
use tapewright::units::Seconds;

fn cases(count: u32) -> Config {
    Config {
        cases: count,
        rng_seed: RngSeed::Fixed(0x7a9e),
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(
            "tests/regressions/nothing_else_changes_a_reading.txt",
        ))),
        // A machine that fails is told as it is; making it simpler takes long.
        max_shrink_iters: 20,
        ..Config::default()
    }
}

/// A machine with a test tape.
#[derive(Clone, Debug)]
struct Machine {
    nominal_hz: f64,
    tone: Tone,
    /// Root mean square of the hiss against that of the tone, dB below.
    snr_db: f64,
    seed: u64,
}

fn line(hz: std::ops::Range<f64>) -> impl Strategy<Value = Line> {
    (hz, 0.005..0.15f64, 0.0..1.0f64).prop_map(|(hz, peak_percent, turns)| Line {
        hz,
        peak_percent,
        turns,
    })
}

fn machine() -> impl Strategy<Value = Machine> {
    (
        prop::sample::select(vec![3150.0, 3000.0, 1000.0]),
        -6.0..6.0f64,
        0.0..1.0f64,
        (line(0.4..2.0), line(2.0..12.0), line(12.0..80.0)),
        40.0..70.0f64,
        any::<u64>(),
    )
        .prop_map(
            |(nominal_hz, percent, turns, lines, snr_db, seed)| Machine {
                nominal_hz,
                tone: Tone {
                    hz: nominal_hz * (1.0 + percent / 100.0),
                    turns,
                    amplitude: 0.25,
                    lines: vec![lines.0, lines.1, lines.2],
                    drift_percent_per_s: 0.0,
                },
                snr_db,
                seed,
            },
        )
}

impl Machine {
    fn samples(&self, rate_hz: u32, seconds: f64) -> Vec<f32> {
        let rate = f64::from(rate_hz);
        let noise = self.tone.amplitude * 0.5f64.sqrt() * 10f64.powf(-self.snr_db / 20.0);
        (0..(seconds * rate) as u64)
            .map(|n| {
                let tone = self.tone.at(n as f64 / rate);
                (tone + noise * hiss(self.seed.wrapping_add(n))) as f32
            })
            .collect()
    }

    fn settings(&self, rate_hz: u32, channels: u16) -> Settings {
        sound::settings_at(rate_hz, channels, self.nominal_hz)
    }

    fn measure(&self, rate_hz: u32, samples: &[f32]) -> Measurement {
        sound::measure(self.settings(rate_hz, 1), samples)
    }

    /// The mean deviation in percent: lines of wow have none.
    fn truth(&self) -> f64 {
        (self.tone.hz / self.nominal_hz - 1.0) * 100.0
    }
}

/// The ± of the speed without those parts that all readings share.
fn own_uncertainty(measurement: &Measurement) -> f64 {
    let parts = measurement.speed.expect("a speed").parts;
    parts
        .noise
        .map_or(0.0, |noise| noise.0)
        .hypot(parts.wow.map_or(f64::INFINITY, |wow| wow.0))
}

fn flutter_uncertainty(measurement: &Measurement) -> f64 {
    let flutter = measurement.flutter.weighted_two_sigma_uncertainty;
    flutter.expect("its own ±").0
}

/// Two readings of the same machine over unlike stretches of its tape.
fn agree(one: &Measurement, other: &Measurement) -> Result<(), TestCaseError> {
    let apart = (sound::deviation(one) - sound::deviation(other)).abs();
    let allowed = own_uncertainty(one) + own_uncertainty(other);
    prop_assert!(apart <= allowed, "speeds {apart} % apart, ± {allowed}");
    let apart = (sound::two_sigma(one) - sound::two_sigma(other)).abs();
    let allowed = flutter_uncertainty(one) + flutter_uncertainty(other);
    prop_assert!(apart <= allowed, "flutter {apart} % apart, ± {allowed}");
    Ok(())
}

/// Two readings of the same stretch: all that may differ is rounding.
fn are_the_same(one: &Measurement, other: &Measurement) -> Result<(), TestCaseError> {
    let apart = (sound::deviation(one) - sound::deviation(other)).abs();
    prop_assert!(apart <= 1e-6, "speeds {apart} % apart");
    let apart = (sound::two_sigma(one) / sound::two_sigma(other) - 1.0).abs();
    prop_assert!(apart <= 1e-3, "flutter {apart} apart");
    Ok(())
}

const RATE_HZ: u32 = 48_000;
const SECONDS: f64 = 12.0;

proptest! {
    #![proptest_config(cases(12))]

    #[test]
    fn when_the_recording_begins_does_not(machine in machine(), late_s in 0.0..3.0f64) {
        let samples = machine.samples(RATE_HZ, SECONDS + 3.0);
        let late = (late_s * f64::from(RATE_HZ)) as usize;
        let count = (SECONDS * f64::from(RATE_HZ)) as usize;
        let early = machine.measure(RATE_HZ, &samples[..count]);
        let later = machine.measure(RATE_HZ, &samples[late..late + count]);
        agree(&early, &later)?;
        let error = (sound::deviation(&later) - machine.truth()).abs();
        prop_assert!(error <= 2.0 * own_uncertainty(&later), "off by {error} %");
    }

    #[test]
    fn gain_does_not(machine in machine(), level_db in -40.0..0.0f64) {
        let samples = machine.samples(RATE_HZ, SECONDS);
        // The tone at −12 dB stands at 0 dB; hiss may go beyond full scale.
        let gain = 10f64.powf(level_db / 20.0) / machine.tone.amplitude;
        let other: Vec<f32> = samples.iter().map(|s| (f64::from(*s) * gain) as f32).collect();
        are_the_same(&machine.measure(RATE_HZ, &samples), &machine.measure(RATE_HZ, &other))?;
    }

    #[test]
    fn polarity_does_not(machine in machine()) {
        let samples = machine.samples(RATE_HZ, SECONDS);
        let turned: Vec<f32> = samples.iter().map(|s| -s).collect();
        are_the_same(&machine.measure(RATE_HZ, &samples), &machine.measure(RATE_HZ, &turned))?;
    }

    #[test]
    fn swapping_the_channels_does_not(machine in machine(), right_db in -30.0..0.0f64) {
        let left = machine.samples(RATE_HZ, SECONDS);
        // The other head sees the same tape, a little later, with its own hiss.
        let mut other = machine.clone();
        other.tone.turns += 0.37;
        other.tone.amplitude *= 10f64.powf(right_db / 20.0);
        other.seed = machine.seed.rotate_left(32) ^ 1;
        let right = other.samples(RATE_HZ, SECONDS);
        let settings = machine.settings(RATE_HZ, 2);
        let one = sound::measure(settings, &sound::stereo(&left, &right));
        let two = sound::measure(settings, &sound::stereo(&right, &left));
        are_the_same(&one, &two)?;
        let swapped = match one.channel {
            ChannelUsed::Left => ChannelUsed::Right,
            ChannelUsed::Right => ChannelUsed::Left,
            same => same,
        };
        prop_assert_eq!(two.channel, swapped);
    }

    #[test]
    fn the_sample_rate_does_not(
        machine in machine(),
        rate_hz in prop_oneof![
            prop::sample::select(vec![8000, 11_025, 16_000, 22_050, 32_000, 44_100, 96_000]),
            8000..60_000u32,
        ],
    ) {
        let one = machine.measure(RATE_HZ, &machine.samples(RATE_HZ, SECONDS));
        let other = machine.measure(rate_hz, &machine.samples(rate_hz, SECONDS));
        agree(&one, &other)?;
    }
}

proptest! {
    #![proptest_config(cases(3))]

    #[test]
    fn the_highest_sample_rates_do_not(
        machine in machine(),
        rate_hz in prop::sample::select(vec![88_200, 176_400, 192_000]),
    ) {
        let one = machine.measure(RATE_HZ, &machine.samples(RATE_HZ, SECONDS));
        let other = machine.measure(rate_hz, &machine.samples(rate_hz, SECONDS));
        agree(&one, &other)?;
    }
}

/// Everything that an engine says of a stream: the state at its end, the
/// measurement of the whole, and what was kept meanwhile.
type Said = (String, Measurement, Option<Measurement>);

fn everything(settings: Settings, samples: &[f32], blocks: &[usize]) -> Said {
    let mut engine = Engine::new(settings).expect("a usual format");
    engine.keep(KeepRequest {
        at_least: Seconds(2.0),
        at_most: Seconds(4.0),
    });
    let mut rest = samples;
    for &block in blocks.iter().cycle() {
        if rest.is_empty() {
            break;
        }
        let (block, after) = rest.split_at(block.min(rest.len()));
        engine.push(block);
        rest = after;
    }
    let reading = engine.reading();
    let kept = match &reading.keeping {
        Some(Keeping::Done(kept)) => Some((**kept).clone()),
        _ => None,
    };
    (format!("{reading:?}"), engine.measurement(), kept)
}

proptest! {
    #![proptest_config(cases(6))]

    #[test]
    fn the_size_of_the_blocks_changes_not_a_bit(
        machine in machine(),
        rate_hz in prop::sample::select(vec![8000, 44_100, 48_000]),
        blocks in prop::collection::vec(1..48_000usize, 1..20),
        dropout_s in 1.0..13.0f64,
    ) {
        let mut samples = machine.samples(rate_hz, 14.0);
        let at = (dropout_s * f64::from(rate_hz)) as usize;
        samples[at..at + rate_hz as usize / 50].fill(0.0);
        let settings = machine.settings(rate_hz, 1);
        let whole = everything(settings, &samples, &[samples.len()]);
        prop_assert!(!whole.1.has(CautionCode::ToneLost) && whole.2.is_some());
        for blocks in [&[1][..], &[rate_hz as usize], &[1, 2, 3, 997], &blocks] {
            let again = everything(settings, &samples, blocks);
            prop_assert!(again == whole, "blocks of {blocks:?}: {again:?}, {whole:?}");
        }
    }

    #[test]
    fn nor_while_somebody_turns_the_trimmer_and_the_input_clips(
        machine in machine(),
        blocks in prop::collection::vec(1..48_000usize, 1..20),
        percent_per_s in prop_oneof![-1.5..-0.5f64, 0.5..1.5f64],
        drive_db in -6.0..8.0f64,
    ) {
        let mut machine = machine;
        machine.tone.drift_percent_per_s = percent_per_s;
        // The tone stands at −12 dB.
        let gain = 10f64.powf((12.0 + drive_db) / 20.0);
        let held = |s: &f32| (f64::from(*s) * gain).clamp(-1.0, 1.0) as f32;
        let samples: Vec<f32> = machine.samples(RATE_HZ, 8.0).iter().map(held).collect();
        let settings = machine.settings(RATE_HZ, 1);
        let whole = everything(settings, &samples, &[samples.len()]);
        prop_assert!(whole.1.speed.is_some());
        for blocks in [&[1][..], &[24], &[1, 2, 3, 997], &blocks] {
            let again = everything(settings, &samples, blocks);
            prop_assert!(again == whole, "blocks of {blocks:?}: {again:?}, {whole:?}");
        }
    }
}
