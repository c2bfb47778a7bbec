//! Two channels of one tone tell level, balance and the time between them; where
//! they cannot, nothing is told.

use crate::support::dice::Dice;
use crate::support::sound::{self, stereo};
use crate::support::two_channels::Pair;
use tapewright::readings::{ChannelChoice, Engine, Nominal, Reading, Settings, TwoChannels};

const RATE: u32 = 48_000;

fn any_tone(rate_hz: u32) -> Settings {
    let mut settings = sound::settings(rate_hz, 2);
    settings.conditions.nominal = Nominal::Nearest;
    settings
}

fn told(samples: &[f32]) -> Option<TwoChannels> {
    sound::measure(any_tone(RATE), samples).channels
}

#[track_caller]
fn assert_near(got: f64, want: f64, off: f64) {
    assert!((got - want).abs() <= off, "{got}, not {want} ±{off}");
}

#[test]
fn azimuth_is_known_to_a_tenth_of_a_microsecond() {
    // At 40 dB in ten seconds. The bound for two channels of a tone of known
    // frequency in white noise is about 0.001 µs (Kay 1993, from memory).
    for (hz, rate_hz, lag_us) in [
        (3150.0, 48_000, 3.2),
        (3150.0, 44_100, -47.0),
        (1000.0, 48_000, 120.0),
        (315.0, 96_000, -310.0),
        (10_000.0, 48_000, 21.3),
        (3000.0, 192_000, 0.0),
    ] {
        for seed in 0..3 {
            let pair = Pair {
                seed,
                ..Pair::of(hz, lag_us)
            };
            let got = sound::measure(any_tone(rate_hz), &pair.samples(rate_hz)).channels;
            let got = got.expect("two channels");
            assert_near(got.right_lags_us, lag_us, 0.1);
            assert_near(got.balance.0, 20.0 * (0.25f64 / 0.2).log10(), 0.02);
            assert_near(got.level_left.0, 20.0 * 0.25f64.log10(), 0.05);
            let uncertainty = got.right_lags_uncertainty_us.expect("long enough");
            assert!(uncertainty < 0.1, "{uncertainty}");
            assert_near(got.ambiguous_by_us.expect("one tone"), 1e6 / hz, 1.0);
        }
    }
}

#[test]
fn the_uncertainty_holds_the_truth_on_tape_that_weaves() {
    let (mut held, mut balance_held, all) = (0, 0, 40);
    for seed in 0..all {
        let pair = Pair {
            seed,
            weave: Some((1.5, 0.4)),
            ..Pair::of(3150.0, 8.0)
        };
        let got = told(&pair.samples(RATE)).expect("two channels");
        let within = (got.right_lags_us - 8.0).abs();
        held += u32::from(within <= got.right_lags_uncertainty_us.expect("long enough"));
        let balance = (got.balance.0 - 20.0 * (0.25f64 / 0.2).log10()).abs();
        balance_held += u32::from(balance <= got.balance_uncertainty.expect("long enough").0);
        let jitter = got.jitter_us.expect("long enough");
        assert!((0.5..2.5).contains(&jitter), "{jitter}");
    }
    // 95 %; forty trials of that give fewer than 34 once in 1500.
    assert!(held >= 34 && balance_held >= 34, "{held}, {balance_held}");
}

#[test]
fn a_second_tone_tells_whole_periods() {
    for (second_hz, lag_us) in [(1000.0, 170.0), (315.0, -400.0), (10_000.0, 203.2)] {
        let sequence: Vec<f32> = [(3150.0, 12.0), (second_hz, 8.0)]
            .into_iter()
            .flat_map(|(hz, seconds)| {
                let pair = Pair {
                    seconds,
                    ..Pair::of(hz, lag_us)
                };
                let mut samples = pair.samples(RATE);
                samples.resize(samples.len() + RATE as usize, 0.0);
                samples
            })
            .collect();
        let got = told(&sequence).expect("two channels");
        assert_near(got.right_lags_us, lag_us, 0.3);
        assert_eq!(got.ambiguous_by_us, None, "{second_hz}");
        assert!(!got.inverted);
    }
}

#[test]
fn a_channel_wired_the_other_way_round_is_told() {
    let sequence: Vec<f32> = [3150.0, 1000.0]
        .into_iter()
        .flat_map(|hz| {
            let pair = Pair {
                inverted: true,
                ..Pair::of(hz, 6.0)
            };
            pair.samples(RATE)
        })
        .collect();
    let got = told(&sequence).expect("two channels");
    assert!(got.inverted);
    assert_near(got.right_lags_us, 6.0, 0.3);
}

/// A plug wired the other way round and a head that stands right: half a turn
/// apart, where phases wrap.
#[test]
fn an_inverted_channel_on_tape_that_weaves_has_the_jitter_of_the_weave() {
    for seed in 0..10 {
        let of = |hz| Pair {
            inverted: true,
            seed,
            weave: Some((1.5, 0.4)),
            ..Pair::of(hz, 0.0)
        };
        let alone = told(&of(3150.0).samples(RATE)).expect("two channels");
        let jitter = alone.jitter_us.expect("long enough");
        assert!((0.5..2.5).contains(&jitter), "{jitter}");
        for second_hz in [1000.0, 10_000.0] {
            let mut sequence = of(3150.0).samples(RATE);
            sequence.extend(of(second_hz).samples(RATE));
            let got = told(&sequence).expect("two channels");
            assert!(got.inverted && got.right_lags_us.abs() < 3.0, "{got:?}");
        }
    }
}

#[test]
fn nothing_is_told_of_a_channel_that_has_gone() {
    let mut dice = Dice::new(8);
    for hiss in [0.0, 0.05] {
        let mut engine = sound::engine(any_tone(RATE));
        let samples = Pair::of(3150.0, 5.0).samples(RATE);
        engine.push(&samples);
        assert!(engine.reading().channels.is_some());
        for block in samples[..4 * RATE as usize].chunks(960) {
            let gone: Vec<f32> = block
                .chunks(2)
                .flat_map(|frame| [frame[0], (hiss * dice.bell()) as f32])
                .collect();
            engine.push(&gone);
        }
        let reading = engine.reading();
        assert!(reading.speed.is_some());
        assert_eq!(reading.channels_now, None, "{hiss}");
        assert_eq!(reading.channels, None, "{hiss}");
    }
}

#[test]
fn nothing_is_told_where_there_are_not_two_channels_of_one_tone() {
    let tone = Pair::of(3150.0, 5.0);
    let samples = tone.samples(RATE);
    let left: Vec<f32> = samples.chunks(2).map(|frame| frame[0]).collect();
    let mut dice = Dice::new(4);
    let noise: Vec<f32> = left.iter().map(|_| (0.1 * dice.bell()) as f32).collect();
    let other = Pair {
        hz: 3180.0,
        ..Pair::of(3180.0, 0.0)
    };
    let other: Vec<f32> = other.samples(RATE).chunks(2).map(|it| it[1]).collect();
    let crosstalk: Vec<f32> = left.iter().map(|it| 0.02 * it).collect();
    for right in [noise, other, crosstalk, vec![0.0; left.len()]] {
        let got = told(&stereo(&left, &right));
        assert_eq!(got, None);
    }
    assert_eq!(
        sound::measure(sound::settings(RATE, 1), &left).channels,
        None
    );
    let one = Settings {
        choice: ChannelChoice::Left,
        ..any_tone(RATE)
    };
    assert_eq!(sound::measure(one, &samples).channels, None);
}

fn after(engine: &mut Engine, pair: &Pair) -> Reading {
    for block in pair.samples(RATE).chunks(960) {
        engine.push(block);
    }
    engine.reading()
}

#[test]
fn a_turn_of_the_head_is_seen_and_what_was_before_is_left_out() {
    let mut engine = sound::engine(any_tone(RATE));
    let weave = Some((0.4, 0.2));
    let at = |lag_us, seconds, seed| Pair {
        seconds,
        seed,
        weave,
        ..Pair::of(3150.0, lag_us)
    };
    let got = after(&mut engine, &at(40.0, 8.0, 1));
    assert_near(got.channels.expect("two").right_lags_us, 40.0, 0.6);
    let got = after(&mut engine, &at(10.0, 2.5, 2));
    assert_near(got.channels_now.expect("two").right_lags_us, 10.0, 1.0);
    assert_near(got.channels.expect("two").right_lags_us, 10.0, 1.0);
    // A tone before the turn says nothing of the head as it is now.
    let got = after(&mut engine, &Pair::of(1000.0, 10.0));
    assert_eq!(got.channels.expect("two").ambiguous_by_us, None);
    let got = after(&mut engine, &at(60.0, 4.0, 3));
    assert_near(got.channels.expect("two").right_lags_us, 60.0, 1.0);
}
