//! A held note tells the speed by its name, whichever partials can be heard;
//! another note, music, silence and two things at once are told, not read.

use crate::support::dice::Dice;
use crate::support::note_sounds::{Ensemble, Held, RATE, engine, measured, note_hz};
use crate::support::program::{Folder, caution, deviation, number};
use crate::support::sound::stereo;
use tapewright::readings::{
    Caution, CautionCode, ChannelUsed, FlutterReading, KeepRequest, Keeping, Measurement, Problem,
    ToneState,
};
use tapewright::units::Seconds;

const A4: f64 = 440.0;

/// Speed in percent and its ±.
#[track_caller]
fn speed_of(got: &Measurement) -> [f64; 2] {
    let speed = got.speed.unwrap_or_else(|| panic!("{:?}", got.cautions));
    [speed.deviation.0, speed.uncertainty.unwrap().0]
}

/// Reads within the target, and within its own ±.
#[track_caller]
fn reads(held: &Held, note: f64, most_percent: f64) {
    let [deviation, own] = speed_of(&measured(&held.samples(), 1, note));
    let off = (deviation - 100.0 * (held.hz / note - 1.0)).abs();
    assert!(off < most_percent && off < own, "{held:?}: {off} ±{own} %");
}

#[test]
fn any_note_is_read_to_a_fiftieth_of_a_percent_in_two_seconds() {
    for (seed, midi) in (0..).zip([24, 33, 45, 60, 69, 81, 96, 108]) {
        for speed in [0.92, 1.0, 1.0137, 1.08] {
            let note = note_hz(midi);
            reads(&Held::plain(note * speed, seed), note, 0.02);
        }
    }
}

#[test]
fn a_missing_fundamental_and_strong_overtones_are_no_other_note() {
    for partials in [
        vec![(2, 1.0), (3, 1.0), (4, 0.5)],
        vec![(3, 1.0), (4, 0.7), (5, 0.7), (7, 0.2)],
        vec![(1, 0.03), (2, 1.0), (3, 0.1), (4, 1.0)],
        vec![(1, 1.0), (3, 0.5), (5, 0.3)],
        vec![(1, 1.0)],
    ] {
        for speed in [0.92, 1.01, 1.08] {
            let held = Held {
                partials: partials.clone(),
                ..Held::plain(A4 * speed, 7)
            };
            reads(&held, A4, 0.02);
        }
    }
}

#[test]
fn a_stiff_string_is_read_by_its_first_partial() {
    for partials in [vec![1, 2, 3, 4, 5, 6], vec![2, 3, 4, 5, 6]] {
        let held = Held {
            partials: partials.into_iter().map(|n| (n, 1.0)).collect(),
            stiffness: 4e-4,
            decay_s: 1.5,
            ..Held::plain(222.0, 8)
        };
        reads(&held, 220.0, 0.02);
        let got = measured(&held.samples(), 1, 220.0);
        assert!(got.has(CautionCode::PartialsStretched));
        let stiffness = got.note.unwrap().stiffness;
        assert!((stiffness / 4e-4 - 1.0).abs() < 0.1, "{stiffness}");
    }
}

#[test]
fn vibrato_is_averaged_and_named() {
    let held = Held {
        vibrato: (5.5, 0.012),
        seconds: 4.0,
        ..Held::plain(441.0, 9)
    };
    reads(&held, A4, 0.03);
    let got = measured(&held.samples(), 1, A4);
    assert!(got.has(CautionCode::Vibrato));
    let vibrato = got.note.unwrap().vibrato.unwrap();
    assert!((vibrato.rate.0 - 5.5).abs() < 0.1, "{vibrato:?}");
    assert!((vibrato.depth.0 - 1.2).abs() < 0.15, "{vibrato:?}");
    assert!(got.flutter.weighted_two_sigma.is_none());
}

#[test]
fn another_note_is_told_and_not_read() {
    for (ratio, words) in [
        (2.0, "an octave above"),
        (0.5, "an octave below"),
        (1.5, "7 semitones above"),
        (0.75, "5 semitones below"),
    ] {
        for speed in [0.93, 1.0, 1.07] {
            let got = measured(&Held::plain(A4 * ratio * speed, 3).samples(), 1, A4);
            assert!(got.speed.is_none(), "{ratio}");
            let texts: Vec<_> = got.cautions.iter().map(ToString::to_string).collect();
            let near = |text: &&String| text.contains(words) || text.contains("semitones");
            assert!(texts.iter().any(|text| near(&text)), "{ratio}: {texts:?}");
        }
    }
}

#[test]
fn a_note_beyond_those_that_are_looked_for_is_told_by_its_own_pitch() {
    let sine = |hz: f64| Held {
        partials: vec![(1, 1.0)],
        ..Held::plain(hz, 3)
    };
    for (hz, words) in [(3100.0, "3100 Hz"), (2500.0, "2500 Hz")] {
        let got = measured(&sine(hz).samples(), 1, A4);
        assert!(got.speed.is_none(), "{hz}");
        let told = got.cautions.iter().any(|it| it.to_string().contains(words));
        assert!(told, "{hz}: {:?}", got.cautions);
    }
}

#[test]
fn chords_melodies_noise_and_silence_are_refused() {
    let of = |hz: f64, seed| Held::plain(hz, seed).samples();
    let chord: Vec<f32> = of(440.0, 1)
        .iter()
        .zip(of(554.365, 2))
        .zip(of(659.255, 3))
        .map(|((a, b), c)| (a + b + c) / 3.0)
        .collect();
    let melody: Vec<f32> = [0, 2, 4, 0, 7, 5, 4, 2, 0]
        .into_iter()
        .flat_map(|step| {
            let held = Held {
                seconds: 0.5,
                ..Held::plain(note_hz(69 + step), 4)
            };
            held.samples()
        })
        .collect();
    let noise = Held {
        snr_db: -60.0,
        ..Held::plain(A4, 5)
    };
    let noise: Vec<f32> = noise.samples().iter().map(|s| s * 1e-3).collect();
    for (name, samples) in [
        ("chord", chord),
        ("melody", melody),
        ("noise", noise),
        ("silence", vec![0.0; 3 * RATE as usize]),
    ] {
        let got = measured(&samples, 1, A4);
        assert!(got.speed.is_none() && !got.signal.usable, "{name}");
        assert!(!got.cautions.is_empty(), "{name}");
    }
}

#[test]
fn two_things_on_two_channels_are_refused_until_one_is_chosen() {
    let note = Held::plain(A4, 1).samples();
    for other in [523.25, 446.0] {
        let other = Held::plain(other, 2).samples();
        let got = measured(&stereo(&note, &other), 2, A4);
        assert!(got.speed.is_none(), "{:?}", got.speed);
        assert!(got.has(CautionCode::ChannelsDisagree), "{:?}", got.cautions);
    }
    let silent = vec![0.0; note.len()];
    let got = measured(&stereo(&silent, &note), 2, A4);
    assert!(got.speed.unwrap().deviation.0.abs() < 0.02);
}

/// Five seconds of a note, 1.3 % fast.
fn five_seconds(seed: u64) -> Held {
    Held {
        seconds: 5.0,
        ..Held::plain(A4 * 1.013, seed)
    }
}

#[test]
fn voices_that_beat_are_read_by_their_middle_and_the_uncertainty_reaches_them() {
    for (seed, offs) in (0..).zip([
        &[-0.0006, 0.0006][..],
        &[-0.002, 0.002],
        &[-0.0045, 0.0045],
        &[-0.003, 0.0, 0.003],
        &[-0.005, 0.001, 0.004],
    ]) {
        let sound = Ensemble::around(offs, five_seconds(seed));
        let got = measured(&sound.samples(), 2, A4);
        let [deviation, own] = speed_of(&got);
        let error = (deviation - 1.3).abs();
        let widest = 100.0 * offs.iter().fold(0.0, |most: f64, off| most.max(off.abs()));
        assert!(error < own, "{offs:?}: off by {error} %, ±{own}");
        let reaches = own > 0.5 * widest && own < 2.0 * widest + 0.05;
        assert!(reaches, "{offs:?}: ±{own}");
        assert!(got.has(CautionCode::VoicesApart), "{:?}", got.cautions);
    }
    let one = measured(&five_seconds(9).samples(), 1, A4);
    assert!(!one.has(CautionCode::VoicesApart));
}

#[test]
fn two_equal_voices_that_beat_in_full_are_read_and_the_same_of_noise_is_not() {
    let held = Held {
        partials: vec![(1, 1.0), (2, 0.1), (3, 0.06)],
        ..five_seconds(60)
    };
    let got = measured(&Ensemble::around(&[-0.001, 0.001], held).samples(), 2, A4);
    let [deviation, own] = speed_of(&got);
    assert!((deviation - 1.3).abs() < own, "{deviation} ±{own}");
    // Voices over a quarter of a semitone without overtones are a band of noise.
    let mut dice = Dice::new(61);
    let offs: Vec<f64> = (0..40).map(|_| dice.between(-0.008, 0.008)).collect();
    let band = Held {
        partials: vec![(1, 1.0)],
        ..five_seconds(62)
    };
    let got = measured(&Ensemble::around(&offs, band).samples(), 2, A4);
    assert!(got.speed.is_none(), "{:?}", got.speed);
}

#[test]
fn a_sound_that_is_repeated_every_third_period_is_no_lower_note() {
    let strong = [(3, 1.0), (6, 0.6), (9, 0.4), (12, 0.3), (15, 0.2)];
    let weak = [4, 5, 7, 8, 10, 11, 13, 14].map(|n| (n, 0.02));
    let held = Held {
        partials: strong.into_iter().chain(weak).collect(),
        snr_db: 70.0,
        ..Held::plain(A4 / 3.0 * 1.013, 63)
    };
    let got = measured(&held.samples(), 1, A4);
    let [deviation, _] = speed_of(&got);
    assert!((deviation - 1.3).abs() < 0.01, "{deviation}");
}

#[test]
fn where_two_channels_read_one_note_apart_one_is_taken_and_named() {
    let mut sound = Ensemble::around(&[-0.0015, 0.0015], five_seconds(20));
    sound.voices[0].1 = [1.0, 0.1];
    sound.voices[1].1 = [0.1, 1.0];
    let samples = sound.samples();
    let got = measured(&samples, 2, A4);
    assert_eq!(got.channel, ChannelUsed::Left, "{:?}", got.cautions);
    // Its own voice, and the other within the ±.
    let [deviation, own] = speed_of(&got);
    assert!((deviation - 1.148).abs() < 0.02, "{deviation}");
    assert!(own > 0.29 && own < 0.45, "{own}");
    let disagrees = |it: &&Caution| it.code() == CautionCode::ChannelsDisagree;
    let text = &got.cautions.iter().find(disagrees).unwrap().to_string();
    let named = text.contains("left channel") && text.contains("+0.3");
    assert!(named, "{text}");
    let mut live = engine(2, A4);
    live.push(&samples[..samples.len() * 9 / 10]);
    let problems = live.reading().signal.problems;
    assert_eq!(problems, [Problem::ChannelTaken(ChannelUsed::Left)]);

    // With hiss on the left, the right is the better one.
    let mut dice = Dice::new(21);
    let hissing: Vec<f32> = samples
        .chunks(2)
        .flat_map(|frame| [frame[0] + dice.between(-0.05, 0.05) as f32, frame[1]])
        .collect();
    let got = measured(&hissing, 2, A4);
    assert_eq!(got.channel, ChannelUsed::Right, "{:?}", got.cautions);
    let clearer = |it: &Caution| it.to_string().contains("clearer above its noise");
    assert!(got.cautions.iter().any(clearer));
}

#[test]
fn channels_that_differ_in_phase_and_level_alone_are_both_read() {
    let note = five_seconds(30);
    let other = Held {
        seed: 31,
        ..note.clone()
    };
    let right: Vec<f32> = other.samples().iter().map(|s| 0.3 * s).collect();
    let got = measured(&stereo(&note.samples(), &right), 2, A4);
    assert_eq!(got.channel, ChannelUsed::Both);
    assert!(!got.has(CautionCode::ChannelsDisagree));
    assert!((speed_of(&got)[0] - 1.3).abs() < 0.001);
}

#[test]
fn the_stops_of_an_organ_are_read_by_the_note_that_was_named() {
    let flute = |seed| Held {
        partials: vec![(1, 1.0), (2, 0.05)],
        ..five_seconds(seed)
    };
    // Feet of the pipes, of which 8 sound the note.
    for (seed, feet) in (40..).zip([
        &[16.0, 8.0, 4.0, 8.0 / 3.0][..],
        &[16.0, 8.0, 16.0 / 3.0, 4.0, 8.0 / 3.0, 2.0],
        &[32.0, 16.0, 8.0, 4.0, 2.0],
        &[8.0, 4.0, 8.0 / 3.0, 2.0],
        &[16.0, 8.0, 16.0 / 3.0, 4.0, 16.0 / 9.0, 2.0],
        &[16.0, 8.0, 16.0 / 3.0, 4.0, 8.0 / 3.0, 2.0, 4.0 / 3.0, 1.0],
    ]) {
        let sound = Ensemble {
            voices: feet.iter().map(|feet| (8.0 / feet, [1.0; 2])).collect(),
            held: flute(seed),
        };
        let got = measured(&sound.samples(), 2, A4);
        let [deviation, _] = speed_of(&got);
        assert!((deviation - 1.3).abs() < 0.01, "{feet:?}: {deviation}");
        let asked = got.has(CautionCode::ReferenceAmbiguous);
        assert_eq!(asked, feet[0] > 8.0, "{feet:?}: {:?}", got.cautions);
    }
    // All wavers together before a rotating speaker.
    let rotating = Held {
        hz: 0.5 * A4 * 1.013,
        partials: [1, 2, 3, 4, 6, 8, 16].map(|n| (n, 0.6)).to_vec(),
        vibrato: (6.3, 0.014),
        ..flute(51)
    };
    let got = measured(&rotating.samples(), 1, A4);
    let [deviation, own] = speed_of(&got);
    assert!((deviation - 1.3).abs() < own, "{deviation} ±{own}");
    // Two stops alone may as well be a lower note.
    let below = Ensemble {
        voices: vec![(0.5, [1.0; 2]), (1.0, [1.0; 2])],
        held: flute(50),
    };
    assert!(measured(&below.samples(), 2, A4).speed.is_none());
}

#[test]
fn a_note_is_followed_live() {
    let mut engine = engine(1, A4);
    let held = Held {
        seconds: 6.0,
        ..Held::plain(A4 * 0.985, 4)
    };
    engine.push(&held.samples());
    let reading = engine.reading();
    assert_eq!(reading.tone, ToneState::Locked);
    let speed = reading.speed.unwrap();
    assert!((speed.deviation.0 + 1.5).abs() < 0.01, "{speed:?}");
    assert!((speed.needle.0 + 1.5).abs() < 0.05, "{speed:?}");
    assert_eq!(reading.flutter, FlutterReading::default());
    engine.push(&vec![0.0; RATE as usize]);
    assert_eq!(engine.reading().tone, ToneState::Lost);
    let octave = Held {
        seconds: 3.0,
        ..Held::plain(2.0 * A4, 4)
    };
    engine.push(&octave.samples());
    let reading = engine.reading();
    assert!(reading.speed.is_none() && matches!(reading.tone, ToneState::Wrong(_)));
}

#[test]
fn a_kept_note_shows_its_own_vibrato_and_none_that_was_heard_before() {
    let steady = Held {
        seconds: 12.0,
        ..Held::plain(A4, 5)
    };
    let wavering = Held {
        vibrato: (5.5, 0.012),
        ..steady.clone()
    };
    for (before, kept) in [(&wavering, &steady), (&steady, &wavering)] {
        let mut engine = engine(1, A4);
        engine.push(&before.samples());
        engine.push(&vec![0.0; RATE as usize]);
        engine.keep(KeepRequest {
            at_least: Seconds(5.0),
            at_most: Seconds(7.0),
        });
        engine.push(&kept.samples());
        let Some(Keeping::Done(got)) = engine.reading().keeping else {
            panic!("nothing was kept");
        };
        let vibrato = got.note.as_ref().unwrap().vibrato;
        assert_eq!(vibrato.is_some(), kept.vibrato.1 > 0.0, "{vibrato:?}");
    }
}

#[test]
fn the_tuning_of_music_is_told_as_a_hint() {
    // 20 cents sharp.
    let speed = (20.0f64 / 1200.0).exp2();
    let steps = [0, 4, 7, 2, 9, 5, 11, 7].into_iter().cycle();
    let tune: Vec<f32> = (0..32)
        .zip(steps)
        .flat_map(|(seed, step)| {
            let held = Held {
                seconds: 0.4,
                ..Held::plain(note_hz(57 + step) * speed, seed)
            };
            held.samples()
        })
        .collect();
    let folder = Folder::new();
    folder.write("tune.wav", RATE, &[&tune]);
    let answer = folder.read("tune.wav");
    let object = &answer.ends(4).object;
    let offset = number(&object["tuning"]["offset_cents"]);
    assert!((offset - 20.0).abs() < 4.0, "{offset}");
    let text = caution(object, "tuning_hint").unwrap();
    for word in ["hint", "semitone", "in tune"] {
        assert!(text.contains(word), "{text}");
    }
    assert!(object["speed"]["deviation_percent"].is_null());
}

#[test]
fn notes_that_tone_writes_are_read_by_name() {
    let folder = Folder::new();
    for (note, pitch) in [("A4", 440), ("C#5", 442), ("Db3", 415), ("C2", 440)] {
        let tone = format!("tone {note}@{pitch} --seconds 3 -o note.wav --force");
        folder.run(&tone).ends(0);
        let object = folder.measured(&format!("note.wav --reference note:{note}@{pitch}"));
        assert_eq!(object["reference"]["kind"], "note");
        let deviation = deviation(&object);
        assert!(deviation.abs() < 0.001, "{note}: {deviation}");
        assert_eq!(object["note"]["partials"][0], 1);
        assert!(object["flutter"]["weighted_two_sigma_percent"].is_null());
    }
}

#[test]
fn what_is_no_note_and_no_pitch_is_refused_with_a_way_out() {
    let folder = Folder::new();
    for (note, pitch, words) in [
        ("H4", 440, "A4, C#5, Db3"),
        ("B0", 440, "between C1 and C8"),
        ("A4", 500, "400 to 470 Hz"),
    ] {
        let asked = format!("read x.wav --reference note:{note}@{pitch}");
        folder.run(&asked).ends(2).complains(&[words]);
    }
}
