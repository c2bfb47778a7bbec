//! The engine reads what was put in: speed, flutter, whatever the rate and the
//! channels; what it lost is never spanned.

use crate::support::dice::Dice;
use crate::support::sound::{deviation, engine, measure, settings, stereo, two_sigma};
use crate::support::wavering::wavering;
use tapewright::readings::{CautionCode, ChannelChoice, ChannelUsed, Nominal, Steadiness};
use tapewright::units::Hertz;

#[test]
fn a_clean_tone_reads_within_two_parts_per_million_and_without_flutter() {
    let mut tone = wavering(48_000, 3118.5, 30.0, 1.0, 0.0);
    // 16 bits with triangular dither, as a sound card or a file delivers.
    let mut dice = Dice::new(1);
    for sample in &mut tone {
        let dither = (dice.unit() - dice.unit()) as f32;
        *sample = (*sample * 32_768.0 + dither).round() / 32_768.0;
    }
    let got = measure(settings(48_000, 1), &tone);
    assert!(
        (deviation(&got) + 1.0).abs() <= 0.0002,
        "{}",
        deviation(&got)
    );
    assert!(two_sigma(&got) <= 0.0005, "{}", two_sigma(&got));
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
        let off = deviation(&got) + 1.0;
        assert!(off.abs() < 0.002, "{rate}: {off}");
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
        let off = deviation(&got);
        assert!(off.abs() < 0.01, "{used:?}: {off}");
    }
    let mut right_only = settings(48_000, 2);
    right_only.choice = ChannelChoice::Right;
    let got = measure(right_only, &stereo(&tone, &silence));
    assert!(got.speed.is_none());
}

#[test]
fn samples_that_are_no_number_have_no_speed() {
    let got = measure(settings(48_000, 1), &vec![f32::NAN; 480_000]);
    assert!(got.speed.is_none() && got.has(CautionCode::ToneNotFound));
}

#[test]
fn auto_takes_the_nearest_tone_and_says_that_it_could_be_another() {
    for (heard, nominal, ambiguous) in [(3055.0, 3000.0, true), (1003.0, 1000.0, false)] {
        let mut auto = settings(48_000, 1);
        auto.conditions.nominal = Nominal::Nearest;
        let got = measure(auto, &wavering(48_000, heard, 10.0, 1.0, 0.0));
        assert_eq!(got.nominal, Some(Hertz(nominal)));
        assert_eq!(got.has(CautionCode::ReferenceAmbiguous), ambiguous);
    }
}

#[test]
fn a_gap_is_never_spanned() {
    let tone = wavering(48_000, 3150.0, 12.0, 1.0, 0.0);
    let mut engine = engine(settings(48_000, 1));
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
    let mut engine = engine(settings(48_000, 1));
    let tone = wavering(48_000, 3118.5, 20.0, 0.55, 0.1);
    for (second, chunk) in (1..).zip(tone.chunks(48_000)) {
        engine.push(chunk);
        let reading = engine.reading();
        assert!((reading.at.0 - f64::from(second)).abs() < 1e-9);
        let speed = reading.speed.expect("a speed");
        if let Some(uncertainty) = speed.uncertainty {
            let error = (speed.deviation.0 + 1.0).abs();
            assert!(error <= uncertainty.0, "{second}: {error} {uncertainty:?}");
        }
    }
    let speed = engine.reading().speed.expect("a speed");
    assert_eq!(speed.steadiness, Steadiness::Settled);
    assert!((speed.deviation.0 + 1.0).abs() < 0.005, "{speed:?}");
}
