//! The engine reads what was put in: speed, flutter, dropouts, whatever the
//! rate, the channels and the size of the blocks.

use crate::support::sound::{deviation, measure, settings};
use crate::support::wavering::wavering;
use tapewright::readings::{
    CautionCode, ChannelChoice, ChannelUsed, Engine, Likely, Measurement, Nominal, Steadiness,
    ToneState,
};
use tapewright::units::Hertz;

/// 16 bits with triangular dither, as a sound card or a file delivers.
fn quantise(samples: &mut [f32]) {
    let mut state = 1u64;
    let mut uniform = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 24) as f32
    };
    for sample in samples {
        let dither = uniform() - uniform();
        *sample = (*sample * 32_768.0 + dither).round() / 32_768.0;
    }
}

#[test]
fn a_clean_tone_reads_within_two_parts_per_million_and_without_flutter() {
    let mut tone = wavering(48_000, 3118.5, 30.0, 1.0, 0.0);
    quantise(&mut tone);
    let got = measure(settings(48_000, 1), &tone);
    assert!(
        (deviation(&got) + 1.0).abs() <= 0.0002,
        "{}",
        deviation(&got)
    );
    let flutter = got.flutter.weighted_two_sigma.expect("flutter");
    assert!(flutter.0 <= 0.0005, "{flutter:?}");
    let drift = got.drift.expect("a drift");
    assert!(drift.percent_per_minute.abs() < 1e-4, "{drift:?}");
    assert!(got.has(CautionCode::ReferenceErrorUnknown));
    assert!(!got.has(CautionCode::RecordTooShort), "{:?}", got.cautions);
}

#[test]
fn every_sample_rate_reads_the_same() {
    for rate in [8000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000] {
        let tone = wavering(rate, 3118.5, 12.0, 4.0, 0.1);
        let got = measure(settings(rate, 1), &tone);
        assert!(
            (deviation(&got) + 1.0).abs() < 0.002,
            "{rate}: {}",
            deviation(&got)
        );
        // 4 Hz is the reference of the weighting (IEC 60386): a sine reads its
        // peak, 0.9969 of it as two-sigma and 0.7071 as root mean square.
        let flutter = got.flutter;
        for (name, value, wanted) in [
            ("two-sigma", flutter.weighted_two_sigma, 0.099_69),
            ("quasi-peak", flutter.weighted_peak, 0.1),
            ("weighted rms", flutter.weighted_rms, 0.070_71),
            ("unweighted rms", flutter.unweighted_rms, 0.070_71),
            ("wow rms", flutter.wow_rms, 0.070_71),
        ] {
            // The speed is 1 % low and so is the depth in percent of nominal.
            let value = value.expect(name).0 / 0.99;
            let error = value / wanted - 1.0;
            assert!(error.abs() < 0.025, "{name} at {rate}: {value}");
        }
    }
}

#[test]
fn the_size_of_the_blocks_changes_nothing() {
    let tone = wavering(44_100, 3000.0, 11.0, 2.0, 0.2);
    let whole = measure(settings(44_100, 1), &tone);
    for block in [1, 37, 4410, 65_536] {
        let mut engine = Engine::new(settings(44_100, 1)).expect("an engine");
        for chunk in tone.chunks(block) {
            engine.push(chunk);
        }
        assert_eq!(engine.measurement(), whole, "blocks of {block}");
    }
}

#[test]
fn gain_and_polarity_change_nothing_that_matters() {
    let tone = wavering(48_000, 3100.0, 12.0, 1.0, 0.1);
    let there = measure(settings(48_000, 1), &tone);
    let turned: Vec<f32> = tone.iter().map(|s| s * -0.03).collect();
    let here = measure(settings(48_000, 1), &turned);
    assert!((deviation(&there) - deviation(&here)).abs() < 1e-5);
    let two_sigma = |m: &Measurement| m.flutter.weighted_two_sigma.expect("flutter").0;
    assert!((two_sigma(&there) - two_sigma(&here)).abs() < 1e-4);
}

fn stereo(left: &[f32], right: &[f32]) -> Vec<f32> {
    left.iter().zip(right).flat_map(|(&l, &r)| [l, r]).collect()
}

#[test]
fn both_channels_are_used_when_both_carry_the_tone_and_one_when_one_does() {
    let tone = wavering(48_000, 3150.0, 10.0, 1.0, 0.1);
    let silence = vec![0.0; tone.len()];
    let inverted: Vec<f32> = tone.iter().map(|s| -s).collect();
    for (left, right, used) in [
        (&tone, &tone, ChannelUsed::Both),
        (&tone, &inverted, ChannelUsed::Both),
        (&tone, &silence, ChannelUsed::Left),
        (&silence, &tone, ChannelUsed::Right),
    ] {
        let got = measure(settings(48_000, 2), &stereo(left, right));
        assert_eq!(got.channel, used);
        assert!(
            deviation(&got).abs() < 0.01,
            "{used:?}: {}",
            deviation(&got)
        );
    }
    let mut right_only = settings(48_000, 2);
    right_only.choice = ChannelChoice::Right;
    assert!(
        measure(right_only, &stereo(&tone, &silence))
            .speed
            .is_none()
    );
}

#[test]
fn a_dropout_is_reported_and_never_read_as_flutter() {
    let mut tone = wavering(48_000, 3150.0, 20.0, 1.0, 0.0);
    for second in 1..20 {
        // 20 ms, beginning at an odd place of the period.
        let at = second * 48_000 + second * 7;
        tone[at..at + 960].fill(0.0);
    }
    let got = measure(settings(48_000, 1), &tone);
    assert_eq!(got.signal.dropout_count, 19);
    for (dropout, second) in got.signal.dropouts.iter().zip(1..) {
        let start = f64::from(second) + f64::from(second * 7) / 48_000.0;
        assert!((dropout.start.0 - start).abs() < 0.005, "{dropout:?}");
        assert!((dropout.length.0 - 0.02).abs() < 0.005, "{dropout:?}");
    }
    assert!(deviation(&got).abs() <= 0.002, "{}", deviation(&got));
    let flutter = got.flutter.weighted_two_sigma.expect("flutter");
    assert!(flutter.0 <= 0.006, "{flutter:?}");
    assert!(got.has(CautionCode::Dropouts));
}

#[test]
fn clipping_is_counted() {
    let tone: Vec<f32> = wavering(48_000, 3150.0, 10.0, 1.0, 0.0)
        .iter()
        .map(|s| (s * 4.0).clamp(-1.0, 1.0))
        .collect();
    let got = measure(settings(48_000, 1), &tone);
    assert!(got.signal.clipped_samples > 10_000);
    assert!(got.has(CautionCode::Clipped));
    assert!(deviation(&got).abs() < 0.001);
}

#[test]
fn half_speed_is_named_and_not_measured() {
    let tone = wavering(48_000, 1575.0, 6.0, 1.0, 0.0);
    let mut engine = Engine::new(settings(48_000, 1)).expect("an engine");
    engine.push(&tone);
    let ToneState::Wrong(wrong) = engine.reading().tone else {
        panic!("{:?}", engine.reading().tone);
    };
    assert_eq!(wrong.likely, Likely::HalfSpeed);
    let got = engine.measurement();
    assert!(got.speed.is_none() && !got.signal.usable);
    assert!(got.has(CautionCode::HalfOrDoubleSpeed));
}

#[test]
fn silence_and_noise_have_no_speed() {
    let mut state = 7u32;
    let noise: Vec<f32> = (0..480_000)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            state as f32 / u32::MAX as f32 - 0.5
        })
        .collect();
    for samples in [vec![0.0; 480_000], noise, vec![f32::NAN; 480_000]] {
        let got = measure(settings(48_000, 1), &samples);
        assert!(got.speed.is_none());
        assert!(got.has(CautionCode::ToneNotFound));
    }
}

#[test]
fn auto_takes_the_nearest_tone_and_says_that_it_could_be_another() {
    let mut auto = settings(48_000, 1);
    auto.conditions.nominal = Nominal::Nearest;
    let got = measure(auto, &wavering(48_000, 3055.0, 10.0, 1.0, 0.0));
    assert_eq!(got.nominal, Some(Hertz(3000.0)));
    assert!(got.has(CautionCode::ReferenceAmbiguous));
    let got = measure(auto, &wavering(48_000, 1003.0, 10.0, 1.0, 0.0));
    assert_eq!(got.nominal, Some(Hertz(1000.0)));
    assert!(!got.has(CautionCode::ReferenceAmbiguous));
}

#[test]
fn a_gap_is_never_spanned() {
    let tone = wavering(48_000, 3150.0, 12.0, 1.0, 0.0);
    let mut engine = Engine::new(settings(48_000, 1)).expect("an engine");
    engine.push(&tone[..240_000]);
    engine.gap(100);
    assert!(engine.reading().speed.is_none());
    engine.push(&tone[240_017..]);
    let got = engine.measurement();
    assert_eq!(got.signal.gaps, 1);
    assert!(deviation(&got).abs() < 0.0002, "{}", deviation(&got));
}

#[test]
fn the_live_reading_settles_and_says_so() {
    let mut engine = Engine::new(settings(48_000, 1)).expect("an engine");
    let tone = wavering(48_000, 3118.5, 20.0, 0.55, 0.1);
    for (second, chunk) in tone.chunks(48_000).enumerate() {
        engine.push(chunk);
        let reading = engine.reading();
        assert!((reading.at.0 - (second as f64 + 1.0)).abs() < 1e-9);
        let speed = reading.speed.expect("a speed");
        if let Some(uncertainty) = speed.uncertainty {
            let error = (speed.deviation.0 + 1.0).abs();
            assert!(error <= uncertainty.0, "{second}: {error} {uncertainty:?}");
        }
    }
    let reading = engine.reading();
    let speed = reading.speed.expect("a speed");
    assert_eq!(speed.steadiness, Steadiness::Settled);
    assert!((speed.deviation.0 + 1.0).abs() < 0.005, "{speed:?}");
    assert!(reading.flutter.weighted_two_sigma.is_some());
    assert!(reading.flutter.valid_in.is_none());
}
