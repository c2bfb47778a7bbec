//! A passage, marks and a familiar recording give a speed while they play,
//! through the door that a tone goes through.

use std::sync::{Arc, LazyLock};

use crate::support::dice::Dice;
use crate::support::sound::{self, stereo};
use crate::support::tunes::{Player, RATE_HZ, tune};
use tapewright::readings::matching::Copy;
use tapewright::readings::{
    Conditions, CopyState, Engine, KeepRequest, Keeping, Measurement, Nominal, PassageState,
    Problem, Progress, Reading, ReferenceKind, Target,
};
use tapewright::units::{Hertz, Seconds};

const KEEP: KeepRequest = KeepRequest {
    at_least: Seconds(10.0),
    at_most: Seconds(30.0),
};

fn engine(kind: ReferenceKind, target: Target) -> Engine {
    engine_of(1, kind, target)
}

fn engine_of(channels: u16, kind: ReferenceKind, target: Target) -> Engine {
    let mut settings = sound::settings(RATE_HZ, channels);
    settings.conditions.kind = kind;
    Engine::by(settings, target).unwrap()
}

static MUSIC: LazyLock<Vec<f32>> = LazyLock::new(|| tune(11, 1, 60.0));
static COPY: LazyLock<Arc<Copy>> =
    LazyLock::new(|| Arc::new(Copy::prepare(&MUSIC, RATE_HZ).unwrap()));

fn by_copy(channels: u16) -> Engine {
    let target = Target::Copy(Arc::clone(&COPY));
    engine_of(channels, ReferenceKind::Recording, target)
}

/// Pushes in blocks of a tenth of a second; the readings after each second.
fn played(engine: &mut Engine, samples: &[f32]) -> Vec<Reading> {
    let mut readings = Vec::new();
    for (at, block) in (1..).zip(samples.chunks(RATE_HZ as usize / 10)) {
        engine.push(block);
        if at % 10 == 0 {
            readings.push(engine.reading());
        }
    }
    readings
}

fn deviation(reading: &Reading) -> f64 {
    reading.speed.as_ref().expect("a speed").deviation.0
}

fn kept(engine: &Engine) -> Arc<Measurement> {
    match engine.reading().keeping {
        Some(Keeping::Done(measurement)) => measurement,
        other => panic!("{other:?}"),
    }
}

/// Clicks at a spacing, after a second of silence.
fn clicks(count: usize, spacing_s: f64) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    let mut samples = vec![0.0; ((2.0 + spacing_s * count as f64) * rate) as usize];
    for mark in 0..count {
        let at = ((1.0 + spacing_s * mark as f64) * rate).round() as usize;
        for (n, slot) in samples[at..at + 480].iter_mut().enumerate() {
            *slot = 0.5 * (n as f32 * 0.26).sin() * (1.0 - n as f32 / 480.0);
        }
    }
    samples
}

/// Steady sound of a length, two seconds of silence before it and five after.
fn passage(length_s: f64) -> Vec<f32> {
    let quiet = |seconds: f64| vec![0.0; (seconds * f64::from(RATE_HZ)) as usize];
    [quiet(2.0), sounding(length_s), quiet(5.0)].concat()
}

#[test]
fn a_recording_is_followed_while_it_plays() {
    let mut engine = by_copy(1);
    let tape = Player::good(1.0123, 3.0, 40.0).worn().play(&MUSIC);
    let before = played(&mut engine, &tape[..12 * RATE_HZ as usize]);
    // Found within ten seconds of sound, then to 0.1 %.
    let found = before[..10].iter().find(|it| it.speed.is_some());
    assert!(found.is_some(), "{:?}", before[9].place);
    let reading = before.last().unwrap();
    assert!((deviation(reading) - 1.23).abs() < 0.1);
    let place = reading.place.unwrap();
    let now = place.now.expect("followed").0;
    assert_eq!(place.state, CopyState::Following);
    assert!((now - (3.0 + 12.0 * 1.0123)).abs() < 0.3, "{now}");
    assert_eq!(reading.nominal, None);
    engine.keep(KEEP);
    let after = played(&mut engine, &tape[12 * RATE_HZ as usize..]);
    let measured = kept(&engine);
    let speed = measured.speed.unwrap();
    assert!((speed.deviation.0 - 1.23).abs() < 0.03, "{speed:?}");
    assert!(speed.uncertainty.unwrap().0 < 0.1, "{speed:?}");
    assert!(measured.recording.is_some_and(|it| it.accepted));
    let duration = measured.duration.0;
    assert!((9.9..=31.0).contains(&duration), "{duration}");
    // Kept from about 12 s on: 3 s and 12.1 s of the copy before.
    let at = measured.recording.unwrap().at_copy.unwrap().0;
    assert!((14.0..25.0).contains(&at), "{at}");
    let last = after.last().unwrap();
    assert!(last.flutter.weighted_two_sigma.is_none());
}

#[test]
fn a_turn_of_the_trimmer_shows_on_a_recording() {
    let mut engine = by_copy(1);
    let slow = Player::good(0.98, 3.0, 15.0).play(&MUSIC);
    let right = Player::good(1.0, 3.0 + 15.0 * 0.98, 12.0).play(&MUSIC);
    let before = played(&mut engine, &slow);
    assert!((deviation(before.last().unwrap()) + 2.0).abs() < 0.1);
    let after = played(&mut engine, &right);
    let shown: Vec<f64> = after[3..].iter().map(deviation).collect();
    assert!(shown.iter().all(|it| it.abs() < 0.1), "{shown:?}");
}

#[test]
fn other_music_gives_no_speed() {
    let mut engine = by_copy(1);
    let other = Player::good(1.0, 3.0, 30.0).play(&tune(12, 2, 60.0));
    let readings = played(&mut engine, &other);
    assert!(readings.iter().all(|it| it.speed.is_none()));
    assert_eq!(
        readings.last().unwrap().place.unwrap().state,
        CopyState::NotFound
    );
}

#[test]
fn two_things_on_two_channels_are_told_apart_from_music_in_stereo() {
    let left = Player::good(1.0, 3.0, 16.0).play(&MUSIC);
    let fainter: Vec<f32> = left.iter().map(|x| 0.4 * x).collect();
    let other = Player::good(1.0, 3.0, 16.0).play(&tune(12, 2, 60.0));
    for (right, differs) in [(&fainter, false), (&other, true)] {
        let mut engine = by_copy(2);
        engine.push(&stereo(&left, right));
        let place = engine.reading().place.unwrap();
        assert_eq!(place.two_things, differs, "{place:?}");
    }
}

#[test]
fn two_notes_on_two_channels_are_named_as_that() {
    let note = |hz: f64| -> Vec<f32> {
        let turn = std::f64::consts::TAU * hz / f64::from(RATE_HZ);
        (0..8 * RATE_HZ)
            .map(|n| {
                let at = turn * f64::from(n);
                (0.2 * (at.sin() + 0.5 * (2.0 * at).sin() + 0.3 * (3.0 * at).sin())) as f32
            })
            .collect()
    };
    let conditions = Conditions {
        kind: ReferenceKind::Note,
        nominal: Nominal::Fixed(Hertz(440.0)),
        ..Conditions::default()
    };
    let mut engine = engine_of(2, ReferenceKind::Note, Target::Frequency);
    engine.other_reference(conditions, Target::Frequency);
    engine.push(&stereo(&note(442.0), &note(452.0)));
    let problems = engine.reading().signal.problems;
    let named = problems.contains(&Problem::ChannelsDisagree);
    assert!(named, "{problems:?}");
}

#[test]
fn marks_are_read_while_they_play() {
    let mut engine = engine(ReferenceKind::Marks, Target::Time(Seconds(1.0)));
    // 1 s at right speed, 1.02 s here: 1.961 % slow.
    let readings = played(&mut engine, &clicks(20, 1.02));
    let early = &readings[6];
    assert!((deviation(early) + 1.961).abs() < 0.05, "{early:?}");
    engine.keep(KEEP);
    let _ = played(&mut engine, &clicks(20, 1.0));
    let measured = kept(&engine);
    assert!(measured.speed.unwrap().deviation.0.abs() < 0.01);
    assert!(measured.marks.unwrap().found >= 8);
}

#[test]
fn a_passage_starts_and_stops_by_itself() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(20.0)));
    engine.keep(KEEP);
    let readings = played(&mut engine, &passage(20.3));
    let state = |reading: &Reading| match &reading.timed {
        Some(Progress::Passage { state, since, .. }) => (*state, since.map(|it| it.0)),
        other => panic!("{other:?}"),
    };
    assert_eq!(state(&readings[1]).0, PassageState::Waiting);
    let (playing, since) = state(&readings[11]);
    assert_eq!(playing, PassageState::Playing);
    assert!((since.unwrap() - 10.0).abs() < 0.2, "{since:?}");
    assert!(readings[11].speed.is_none());
    let last = readings.last().unwrap();
    assert_eq!(state(last).0, PassageState::Ended);
    // 20.3 s instead of 20: 1.478 % slow, known to 0.05 %.
    assert!((deviation(last) + 1.478).abs() < 0.05, "{last:?}");
    let measured = kept(&engine);
    assert!((measured.passage.unwrap().length.unwrap().0 - 20.3).abs() < 0.02);
}

#[test]
fn a_passage_that_never_ends_is_given_up_with_a_reason() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(10.0)));
    let readings = played(&mut engine, &passage(25.0)[..20 * RATE_HZ as usize]);
    let why = readings.iter().find_map(|it| match &it.timed {
        Some(Progress::Passage { refused, .. }) => refused.clone(),
        _ => None,
    });
    assert!(why.expect("a reason").to_string().contains("goes on"));
}

#[test]
fn music_that_was_given_up_is_not_counted_again() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(10.0)));
    let is_playing = |reading: &Reading| {
        matches!(
            reading.timed,
            Some(Progress::Passage {
                state: PassageState::Playing,
                ..
            })
        )
    };
    // Pieces of 12 s with rests of two seconds between them.
    let mut music = silence(2.0, 1e-3);
    for _ in 0..5 {
        music.extend(sounding(12.0));
        music.extend(silence(2.0, 1e-3));
    }
    let readings = played(&mut engine, &music);
    let given_up = readings.iter().rposition(is_playing).unwrap();
    assert!((15..22).contains(&given_up), "{given_up}");
    // After enough silence the next one counts.
    let next = [silence(4.5, 1e-3), passage(10.2), silence(3.0, 1e-3)].concat();
    let readings = played(&mut engine, &next);
    let off = deviation(readings.last().unwrap());
    assert!((off + 1.96).abs() < 0.1, "{off}");
}

#[test]
fn a_passage_is_timed_by_hand_where_its_edges_are_not_clear() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(20.0)));
    let hiss: Vec<f32> = passage(60.0)[3 * RATE_HZ as usize..].to_vec();
    engine.edge_by_hand();
    let _ = played(&mut engine, &hiss[..20 * RATE_HZ as usize]);
    engine.edge_by_hand();
    let reading = engine.reading();
    assert!(deviation(&reading).abs() < 0.05);
    // Two presses of 0.1 s each in 20 s: 1.96 · 0.1 · √2 / 20 = 1.39 %.
    let own = reading.speed.unwrap().uncertainty.unwrap().0;
    assert!((own - 1.39).abs() < 0.03, "{own}");
}

fn silence(seconds: f64, level: f64) -> Vec<f32> {
    let mut dice = Dice::new(1);
    let count = (seconds * f64::from(RATE_HZ)) as usize;
    (0..count)
        .map(|_| dice.between(-level, level) as f32)
        .collect()
}

fn sounding(seconds: f64) -> Vec<f32> {
    let count = (seconds * f64::from(RATE_HZ)) as usize;
    (0..count).map(|n| 0.4 * (n as f32 * 0.07).sin()).collect()
}

#[test]
fn a_pause_near_the_end_of_a_passage_is_not_its_end() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(22.0)));
    engine.keep(KEEP);
    let tape = [
        silence(2.0, 1e-4),
        sounding(19.0),
        silence(2.0, 1e-4),
        sounding(1.2),
        silence(6.0, 1e-4),
    ];
    let readings = played(&mut engine, &tape.concat());
    // 22.2 s instead of 22: 0.9 % slow.
    let last = readings.last().unwrap();
    assert!((deviation(last) + 0.9).abs() < 0.1, "{last:?}");
    assert!((kept(&engine).passage.unwrap().length.unwrap().0 - 22.2).abs() < 0.03);
}

#[test]
fn a_passage_is_kept_once_and_stays_while_other_sound_begins() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(20.0)));
    let one = [silence(2.0, 1e-4), sounding(20.3), silence(5.0, 1e-4)].concat();
    let _ = played(&mut engine, &one);
    // Something else begins to play.
    let after = played(&mut engine, &sounding(2.0));
    assert!((deviation(after.last().unwrap()) + 1.478).abs() < 0.05);
    let _ = played(&mut engine, &silence(40.0, 1e-4));
    engine.keep(KEEP);
    let first = engine.reading().keeping;
    engine.forget_kept();
    engine.keep(KEEP);
    // That was another time; the next passage is waited for.
    let keeping = engine.reading().keeping;
    assert_eq!(keeping, Some(Keeping::Waiting), "{first:?}");
    let _ = played(&mut engine, &one);
    assert!(kept(&engine).speed.is_some());
}

#[test]
fn a_tape_that_begins_to_hiss_is_no_passage_yet() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(10.0)));
    let tape = [
        silence(2.0, 1e-5),
        silence(5.0, 2e-3),
        sounding(10.1),
        silence(6.0, 2e-3),
    ];
    let readings = played(&mut engine, &tape.concat());
    let last = readings.last().unwrap();
    assert!((deviation(last) + 1.0).abs() < 0.2, "{last:?}");
}

#[test]
fn music_from_the_first_moment_needs_silence_first() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(20.0)));
    let readings = played(&mut engine, &tune(11, 1, 20.0));
    let waits = readings.iter().all(|it| {
        let Some(Progress::Passage { state, .. }) = &it.timed else {
            return false;
        };
        *state == PassageState::NeedsSilence
    });
    assert!(waits, "{readings:?}");
}

#[test]
fn the_end_of_a_file_ends_a_passage() {
    let mut engine = engine(ReferenceKind::Passage, Target::Time(Seconds(20.0)));
    let tape = [silence(2.0, 1e-4), sounding(20.3), silence(0.8, 1e-4)].concat();
    let _ = played(&mut engine, &tape);
    engine.end_of_input();
    assert!((deviation(&engine.reading()) + 1.478).abs() < 0.05);
}

#[test]
fn marks_far_apart_can_be_kept() {
    let mut engine = engine(ReferenceKind::Marks, Target::Time(Seconds(40.0)));
    engine.keep(KEEP);
    let _ = played(&mut engine, &clicks(6, 40.4));
    let measured = kept(&engine);
    assert!((measured.speed.unwrap().deviation.0 + 0.99).abs() < 0.01);
}

#[test]
fn many_gaps_leave_the_place_where_it_is() {
    let mut engine = by_copy(1);
    for _ in 0..80 {
        engine.push(&[0.0; 500]);
        engine.gap(16);
    }
    let tape = Player::good(1.0, 3.0, 14.0).play(&MUSIC);
    let readings = played(&mut engine, &tape);
    let place = readings.last().unwrap().place.unwrap();
    let now = place.now.expect("followed").0;
    assert!((now - 17.0).abs() < 0.3, "{now}");
}
