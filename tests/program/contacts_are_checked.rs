//! The contact check finds what a simulated volume control does wrong, and
//! nothing where it does nothing wrong: with a tone, with music, in one
//! channel, in mono, and through the program itself.

use crate::support::played::{self, RATE_HZ, Sound, starts};
use crate::support::program::{Folder, has, number, write_wav};
use tapewright::readings::contact::{
    ContactBreak, ContactCheck, ContactReport, ContactTrack, ContactVerdict,
};
use tapewright::rehearsal::{
    Control, ControlConfig, ControlFault, ControlFaultKind, DirtyTracks, SweepingConfig,
};

fn hand(round_trip_s: f64) -> SweepingConfig {
    SweepingConfig {
        ends: [0.15, 1.0],
        round_trip_s,
        rest_s: 0.4,
        ..SweepingConfig::calm()
    }
}

/// A second of it untouched, then the control worked once.
fn worked(
    sound: &Sound,
    config: &ControlConfig,
    seed: u64,
    trip_s: f64,
) -> (Vec<f32>, Vec<ControlFault>) {
    let mut samples = sound.interleaved();
    let mut control = Control::new(config.clone(), seed);
    let (before, rest) = samples.split_at_mut(2 * RATE_HZ as usize);
    control.pass(before);
    control.work(hand(trip_s));
    control.pass(rest);
    assert!(!control.is_worked(), "the sound is too short");
    played::recorded(&mut samples, seed);
    (samples, control.faults().to_vec())
}

fn checked(samples: &[f32], channels: u16) -> ContactReport {
    let mut check = ContactCheck::new(RATE_HZ, channels);
    check.push(samples);
    check.report()
}

fn breaking(dirty: DirtyTracks) -> ControlConfig {
    ControlConfig {
        break_spots: 4,
        break_depth_db: 6.0,
        break_length_s: 0.005,
        break_edge_s: 0.0003,
        dirty,
        ..ControlConfig::clean()
    }
}

#[test]
fn every_break_in_a_tone_is_found_with_its_length_and_depth() {
    let sound = played::tone(3150.0, 14.0, 5);
    let (samples, faults) = worked(&sound, &breaking(DirtyTracks::Left), 5, 6.0);
    let report = checked(&samples, 2);
    let truth = starts(&faults, ControlFaultKind::Break, 0);
    assert!(truth.len() >= 8, "{truth:?}");
    let left = &report.channels[0];
    assert_eq!(left.breaks.len(), truth.len(), "{left:?}");
    for (found, start) in left.breaks.iter().zip(truth) {
        assert!((found.start.0 - start).abs() < 0.001, "{found:?} {start}");
        assert!((found.length.0 - 0.005).abs() < 0.001, "{found:?}");
        assert!((found.depth.0 - 6.0).abs() < 1.0, "{found:?}");
    }
    assert_eq!(report.channels[1].break_count, 0);
    let verdict = ContactVerdict::OneDropsOut(ContactTrack::Left);
    assert_eq!((report.verdict(), report.passes), (verdict, 2));
}

#[test]
fn crackles_are_counted_and_cleaning_ends_them() {
    let sound = played::tone(1000.0, 14.0, 6);
    let config = ControlConfig {
        crackle_spots: 5,
        crackle_dbfs: -20.0,
        tracking_db: 2.0,
        dirty: DirtyTracks::Both,
        ..ControlConfig::clean()
    };
    let (samples, faults) = worked(&sound, &config, 6, 6.0);
    let report = checked(&samples, 2);
    let truth = starts(&faults, ControlFaultKind::Crackle, 0).len() as u64;
    assert!(truth >= 10);
    for channel in &report.channels {
        let off = channel.crackles.abs_diff(truth);
        assert!(off <= 1, "{off} of {truth}");
    }
    assert_eq!(report.verdict(), ContactVerdict::Crackles);
    // The tracks differ by 2 dB × (1 − position), lowest at 0.15.
    let tracking = report.tracking.unwrap().0;
    assert!((1.2..2.0).contains(&tracking), "{tracking}");
    let (clean, _) = worked(&sound, &ControlConfig::clean(), 6, 6.0);
    assert_eq!(checked(&clean, 2).verdict(), ContactVerdict::Clean);
}

#[test]
fn a_clean_control_turned_fast_is_clean() {
    for seed in 1..5 {
        let sound = played::tone(3150.0, 8.0, seed);
        let (samples, _) = worked(&sound, &ControlConfig::clean(), seed, 1.0);
        let report = checked(&samples, 2);
        assert_eq!(report.verdict(), ContactVerdict::Clean, "{report:?}");
        assert!(report.passes >= 2, "{}", report.passes);
    }
}

#[test]
fn clean_contacts_invent_at_most_one_break_a_sweep_in_music() {
    let mut invented = 0;
    for seed in 1..7 {
        let sound = played::music(12.0, 500 + seed);
        let (samples, _) = worked(&sound, &ControlConfig::clean(), seed, 4.0);
        let report = checked(&samples, 2);
        invented += report.channels.iter().map(|it| it.break_count).sum::<u64>();
    }
    assert!(invented <= 6, "{invented} in 6 sweeps");
}

#[test]
fn mono_is_checked_too() {
    let sound = played::tone(3150.0, 14.0, 8);
    let (samples, faults) = worked(&sound, &breaking(DirtyTracks::Both), 8, 6.0);
    let left: Vec<f32> = samples.iter().step_by(2).copied().collect();
    let report = checked(&left, 1);
    let truth = starts(&faults, ControlFaultKind::Break, 0).len() as u64;
    assert_eq!(report.channels.len(), 1);
    assert_eq!(report.channels[0].break_count, truth);
    assert_eq!(report.verdict(), ContactVerdict::DropsOut);
    assert_eq!(report.tracking, None);
}

#[test]
fn silence_has_no_verdict() {
    let report = checked(&vec![0.0; 2 * 96_000], 2);
    assert_eq!(report.verdict(), ContactVerdict::NoSignal);
    assert!(report.channels.iter().all(|it| !it.is_bad()));
}

#[test]
fn a_channel_that_is_silent_or_gone_for_a_while_is_named() {
    let mut dead = played::tone(3150.0, 4.0, 3).interleaved();
    for frame in dead.chunks_exact_mut(2) {
        frame[1] = 0.0;
    }
    let report = checked(&dead, 2);
    let right = ContactVerdict::OneIsSilent(ContactTrack::Right);
    assert_eq!(report.verdict(), right);
    assert_eq!(report.tracking, None);

    let mut away = played::tone(3150.0, 6.0, 3).interleaved();
    for frame in away[4 * RATE_HZ as usize..7 * RATE_HZ as usize].chunks_exact_mut(2) {
        frame[0] = 0.0;
    }
    let report = checked(&away, 2);
    let left = ContactVerdict::OneDropsOut(ContactTrack::Left);
    assert_eq!(report.verdict(), left);
    assert!((report.channels[0].gone.0 - 1.5).abs() < 0.1, "{report:?}");
    assert!(report.channels[1].gone.0 < 0.05);
}

#[test]
fn a_switch_that_mutes_cleanly_does_not_crackle() {
    for sound in [played::tone(1000.0, 8.0, 4), played::music(8.0, 4)] {
        let mut samples = sound.interleaved();
        for from in [2, 4, 6] {
            let from = from * 2 * RATE_HZ as usize;
            samples[from..from + RATE_HZ as usize].fill(0.0);
        }
        let report = checked(&samples, 2);
        let crackles: Vec<u64> = report.channels.iter().map(|it| it.crackles).collect();
        assert_eq!(crackles, [0, 0]);
    }
}

#[test]
fn the_size_of_blocks_changes_nothing() {
    let sound = played::tone(3150.0, 14.0, 9);
    let (samples, _) = worked(&sound, &ControlConfig::dirty(9), 9, 6.0);
    let whole = checked(&samples, 2);
    let mut check = ContactCheck::new(RATE_HZ, 2);
    for block in samples.chunks(334) {
        check.push(block);
    }
    assert_eq!(check.report(), whole);
    assert!(whole.channels.iter().any(|it| it.break_count > 0));
}

/// Stereo samples in a folder, and their name.
fn folder_with(files: &[(&str, &[f32])]) -> Folder {
    let folder = Folder::new();
    for (name, samples) in files {
        write_wav(&folder.path(name), RATE_HZ, 2, samples.iter().copied());
    }
    folder
}

#[test]
fn the_program_says_it_in_json_and_without_a_tone_too() {
    let sound = played::tone(3150.0, 14.0, 5);
    let (tone, faults) = worked(&sound, &breaking(DirtyTracks::Left), 5, 6.0);
    let (music, _) = worked(&played::music(14.0, 3), &ControlConfig::clean(), 3, 6.0);
    let folder = folder_with(&[("tone.wav", &tone), ("music.wav", &music)]);
    let answer = folder.read("--contact tone.wav music.wav");
    let [tone, music] = &answer.ends(0).objects[..] else {
        panic!("{answer:?}");
    };
    let left = &tone["contact"]["left"];
    let breaks = starts(&faults, ControlFaultKind::Break, 0).len();
    assert_eq!(left["breaks"].as_array().unwrap().len(), breaks);
    assert!((number(&left["breaks"][0]["depth_db"]) - 6.0).abs() < 1.0);
    assert!(number(&left["level_dbfs"][0]) < number(&left["level_dbfs"][1]));
    assert!(music["speed"]["deviation_percent"].is_null());
    assert!(music["contact"]["right"]["crackles"].is_u64());
    assert!(!music["cautions"].as_array().unwrap().is_empty());
}

#[test]
fn two_files_are_compared_before_and_after() {
    let sound = played::tone(3150.0, 14.0, 5);
    let (before, _) = worked(&sound, &breaking(DirtyTracks::Left), 5, 6.0);
    let (after, _) = worked(&sound, &ControlConfig::clean(), 5, 6.0);
    let folder = folder_with(&[("before.wav", &before), ("after.wav", &after)]);
    let answer = folder.run("read --contact before.wav after.wav");
    answer
        .ends(0)
        .says(&["THE LEFT CHANNEL DROPS OUT", "power off"]);
    let (_, compared) = answer.text.split_once("Before and after").unwrap();
    let dropped = compared.contains("the left channel drops out");
    assert!(dropped && compared.contains("clean"), "{compared}");
}

/// Exactly nothing in these channels, so many milliseconds at each of these
/// seconds.
fn silenced(samples: &mut [f32], channels: &[usize], at: &[f64], ms: f64) {
    for second in at {
        let start = (second * f64::from(RATE_HZ)) as usize;
        let end = start + (ms * f64::from(RATE_HZ) / 1000.0) as usize;
        for frame in samples[2 * start..2 * end].chunks_exact_mut(2) {
            for channel in channels {
                frame[*channel] = 0.0;
            }
        }
    }
}

#[test]
fn exact_silence_of_any_length_is_a_break_of_that_length() {
    let at = [2.1, 4.3];
    for (sound, within) in [
        (played::tone(3150.0, 6.5, 4), 0.001),
        (played::tone(315.0, 6.5, 4), 0.001),
        (played::music(6.5, 4), 0.003),
    ] {
        let clean = checked(&sound.interleaved(), 2).channels[0].break_count;
        for lengths_ms in [[5.0, 60.0], [500.0, 20.0], [150.0, 1000.0]] {
            for gone in [&[0][..], &[0, 1]] {
                let mut samples = sound.interleaved();
                for (start, ms) in at.into_iter().zip(lengths_ms) {
                    silenced(&mut samples, gone, &[start], ms);
                }
                let report = checked(&samples, 2);
                let left = &report.channels[0];
                let few = left.break_count <= 2 + clean;
                assert!(few, "{lengths_ms:?} ms {:?}", left.breaks);
                for (start, ms) in at.into_iter().zip(lengths_ms) {
                    let near = |it: &&ContactBreak| {
                        (it.start.0 - start).abs() < within
                            && (it.length.0 - ms / 1000.0).abs() < 2.0 * within
                    };
                    let found = left.breaks.iter().find(near);
                    assert!(found.is_some(), "{ms} ms at {start} {:?}", left.breaks);
                }
                if gone.len() == 1 {
                    let mono: Vec<f32> = samples.iter().step_by(2).copied().collect();
                    assert_eq!(checked(&mono, 1).channels[0].breaks, left.breaks);
                }
            }
        }
    }
}

#[test]
fn silence_at_the_beginning_or_the_end_is_no_break() {
    for sound in [played::tone(3150.0, 6.0, 4), played::music(6.0, 4)] {
        let clean = checked(&sound.interleaved(), 2);
        let mut samples = sound.interleaved();
        silenced(&mut samples, &[0, 1], &[0.0, 5.2], 800.0);
        let report = checked(&samples, 2);
        for (channel, clean) in report.channels.iter().zip(&clean.channels) {
            assert!(channel.break_count <= clean.break_count, "{channel:?}");
        }
    }
}

/// A tone turned down by 20 dB and up again three times, in two channels, the left
/// one silent for 0.7 s every five seconds.
fn lost_six_times() -> [Vec<f32>; 2] {
    let mut good = played::tone(3150.0, 30.0, 2).interleaved();
    for (nth, frame) in good.chunks_exact_mut(2).enumerate() {
        let t = nth as f64 / f64::from(RATE_HZ);
        let gain = 10_f64.powf(-(((t / 5.0) % 2.0) - 1.0).abs()) as f32;
        frame[0] *= gain;
        frame[1] *= gain;
    }
    let mut bad = good.clone();
    let at: Vec<f64> = (0..6).map(|nth| f64::from(nth) * 5.0 + 4.0).collect();
    silenced(&mut bad, &[0], &at, 700.0);
    [bad, good]
}

#[test]
fn a_channel_lost_again_and_again_is_counted_listed_and_compared() {
    let [bad, good] = lost_six_times();
    let folder = folder_with(&[("bad.wav", &bad), ("good.wav", &good)]);
    let answer = folder.run("read --contact bad.wav good.wav");
    answer.says(&["THE LEFT CHANNEL DROPS OUT", "6 breaks"]);
    let text = &answer.text;
    let (of_bad, of_good) = text.split_at(text.find("good.wav").unwrap());
    assert!(!of_bad.contains("no dropout"), "{of_bad}");
    assert!(of_good.contains("no dropout"), "{of_good}");
    // Three sweeps: six breaks are two a sweep, 1.4 s.
    let (_, compared) = text.split_once("Before and after").unwrap();
    let row = |name: &str| -> Vec<&str> {
        let mut lines = compared.lines().map(str::trim_start);
        let figures = lines.find_map(|it| it.strip_prefix(name)).unwrap();
        figures.split_whitespace().collect()
    };
    assert_eq!(row("breaks a sweep"), ["2.0", "0.0"], "{compared}");
    let lost = row("lost a sweep");
    let off = lost[0].parse::<f64>().unwrap() - 1.4;
    assert!(off.abs() < 0.05 && lost[2] == "0.000", "{compared}");

    let object = folder.read("--contact bad.wav").object;
    let breaks = object["contact"]["left"]["breaks"].as_array().unwrap();
    assert_eq!(breaks.len(), 6, "{object}");
    assert!((number(&breaks[3]["length_s"]) - 0.7).abs() < 0.002);
    assert!(breaks.iter().is_sorted_by_key(|it| it["start_s"].as_f64()));
}

#[test]
fn a_balance_control_has_moved_and_its_tracking_is_not_told() {
    let mut samples = played::tone(1000.0, 24.0, 2).interleaved();
    for (nth, frame) in samples.chunks_exact_mut(2).enumerate() {
        let at = ((nth as f32 / RATE_HZ as f32 / 6.0) % 2.0 - 1.0).abs();
        frame[0] *= (2.0 * at).min(1.0).powi(2);
        frame[1] *= (2.0 - 2.0 * at).min(1.0).powi(2);
    }
    played::recorded(&mut samples, 2);
    let report = checked(&samples, 2);
    assert_eq!(report.verdict(), ContactVerdict::Clean);
    assert!(report.passes >= 3, "{}", report.passes);
    assert_eq!(report.tracking, None);
    let folder = folder_with(&[("balance.wav", &samples)]);
    let answer = folder.run("read --contact balance.wav");
    answer.says(&["CLEAN"]);
    answer.never_says(&["HARDLY", "0.0 dB along"]);
    let object = folder.read("--contact balance.wav").object;
    assert!(object["contact"]["left"]["tracking_db"].is_null());
}

#[test]
fn any_tone_will_do_and_text_and_json_say_the_same() {
    let sound = played::tone(1000.0, 14.0, 5);
    let (samples, _) = worked(&sound, &ControlConfig::clean(), 5, 6.0);
    let folder = folder_with(&[("tone.wav", &samples)]);
    let object = folder.measured("--contact tone.wav");
    assert_eq!(object["signal"]["usable"], true, "{object}");
    assert!(!has(&object, "tone_not_found"), "{object}");
    assert!(has(&object, "tone_not_needed"), "{object}");
    let levels = ["left", "right"].map(|side| {
        let levels = &object["contact"][side]["level_dbfs"];
        [0, 1].map(|nth| number(&levels[nth]))
    });
    let off = number(&object["signal"]["level_dbfs"]) - levels[0][1].max(levels[1][1]);
    assert!(off.abs() < 0.01, "{object}");
    let text = folder.run("read --contact tone.wav");
    for [low, high] in levels {
        text.says(&[&format!("{low:.1} to {high:.1} dBFS")]);
    }
    // Without a control to be judged it is no reading.
    let object = folder.read("tone.wav").object;
    assert_eq!(object["signal"]["usable"], false);
}
