//! A passage of known length and marks at a known spacing tell the speed:
//! files that an invented machine or another program played too fast or too
//! slow, measured by the real program. What spoils a time is told, and makes no
//! wrong figure.

use crate::support::program::{Answer, Folder, deviation, has, number};
use crate::support::timed_sounds::{Content, Fade, Machine, Marks, passage, seeded};

const RATE: u32 = 24_000;

/// The deviation and its ±.
fn speed(answer: &Answer) -> [f64; 2] {
    let object = &answer.ends(0).object;
    let limit = number(&object["speed"]["uncertainty_percent"]);
    [deviation(object), limit]
}

fn machine(percent: f64) -> Machine {
    Machine {
        rate_hz: f64::from(RATE),
        speed: 1.0 + percent / 100.0,
        ..Machine::new(40.0)
    }
}

/// A piece of music of 20 s, with silence before and after it.
fn played(machine: &Machine, seed: u64) -> Vec<f32> {
    let mut chance = seeded(seed);
    let tape = passage(Content::Music, 20.0, Fade::Cosine(0.02), &mut chance);
    machine.play(&tape, 1.5, 23.0 / machine.speed, &mut chance)
}

#[test]
fn a_passage_of_known_length_tells_the_speed() {
    let folder = Folder::new();
    for (percent, seed) in [(-8.0, 1), (0.0, 2), (3.0, 3)] {
        folder.write("a.wav", RATE, &[&played(&machine(percent), seed)]);
        let run = folder.read("--reference passage:20 a.wav");
        let [deviation, limit] = speed(&run);
        let off = deviation - percent;
        assert!(off.abs() < limit, "{percent}: {deviation}");
        // Twice what edges of 20 ms and the assumed wow leave in 20 s.
        assert!(limit < 0.2, "{limit}");
        let found = &run.object["passage"];
        let factor = 1.0 + percent / 100.0;
        for (key, at_right_speed) in [("start_s", 1.5), ("length_s", 20.0)] {
            let off = number(&found[key]) - at_right_speed / factor;
            assert!(off.abs() < 0.03, "{key}: {found}");
        }
        assert!((number(&found["expected_s"]) - 20.0).abs() < 1e-9);
        assert_eq!(run.object["reference"]["kind"], "passage");
        // What a passage cannot tell is null, with a caution.
        assert!(run.object["reference"]["hz"].is_null());
        assert!(run.object["speed"]["measured_hz"].is_null());
        assert!(run.object["flutter"]["weighted_rms_percent"].is_null());
        assert!(has(&run.object, "reference_gives_no_flutter"));
    }
}

#[test]
fn a_passage_on_both_channels_or_one_is_the_same() {
    let folder = Folder::new();
    let sound = played(&machine(1.0), 4);
    let silence = vec![0.0; sound.len()];
    for (left, right, used) in [
        (&sound, &sound, "both"),
        (&sound, &silence, "left"),
        (&silence, &sound, "right"),
    ] {
        folder.write("a.wav", RATE, &[left, right]);
        let run = folder.read("--reference passage:20 a.wav");
        let [deviation, limit] = speed(&run);
        assert!((deviation - 1.0).abs() < limit, "{deviation}");
        assert_eq!(run.object["channel"], used);
    }
}

#[test]
fn what_is_known_of_clock_and_tape_is_taken_out() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&played(&machine(0.0), 5)]);
    let plain = folder.read("--reference passage:20 a.wav");
    let corrected = folder.read("--reference passage:20 --clock=1000 --tape-error=-0.5±0.1 a.wav");
    // A clock 1000 ppm fast counts too many seconds: the tape ran faster. A
    // tape that plays 0.5 % low on a true machine: faster again.
    let expected = ((1.0 + speed(&plain)[0] / 100.0) * 1.001 / 0.995 - 1.0) * 100.0;
    assert!((speed(&corrected)[0] - expected).abs() < 1e-4);
    let with = &corrected.object["speed"]["uncertainty_with_reference_percent"];
    assert!(number(with) > 0.1);
    let length = |run: &Answer| number(&run.object["passage"]["length_s"]);
    assert!((length(&plain) / length(&corrected) - 1.001).abs() < 1e-6);
}

#[test]
fn a_passage_that_says_nothing_is_refused_with_the_reason() {
    let folder = Folder::new();
    let whole = played(&machine(0.0), 6);
    let at = |seconds: f64| (seconds * f64::from(RATE)) as usize;
    let mut chance = seeded(7);
    let mut noise = |seconds: f64| -> Vec<f32> {
        let one = |_| 0.001 * chance.bell() as f32;
        (0..at(seconds)).map(one).collect()
    };
    let silence = vec![0.0f32; at(5.0)];
    let hiss = noise(10.0);
    let late = [&noise(9.0)[..], &whole[..]].concat();
    let early = [&whole[..], &noise(9.0)[..]].concat();
    let mut slow = seeded(8);
    let fading = passage(Content::Speech, 20.0, Fade::Straight(4.0), &mut slow);
    let fading = machine(0.0).play(&fading, 1.5, 23.0, &mut slow);
    let no_reference = "reference_not_found";
    let cut_off = "reference_cut_off";
    for (channels, seconds, code, says) in [
        (&[&silence[..]][..], 20, no_reference, "nothing but silence"),
        (&[&hiss], 20, no_reference, "same from beginning to end"),
        (&[&whole[at(4.0)..]], 20, cut_off, "may have begun before"),
        (&[&whole[..at(15.0)]], 20, cut_off, "may not have ended"),
        (&[&whole], 30, "reference_mismatch", "+50 %"),
        (&[&whole], 10, "half_or_double_speed", "half speed"),
        (&[&early, &late], 20, "channels_disagree", "--channel"),
        (&[&fading], 20, no_reference, "clean edges"),
    ] {
        folder.write("a.wav", RATE, channels);
        let run = folder.read(&format!("--reference passage:{seconds} a.wav"));
        let object = &run.ends(4).object;
        assert!(object["speed"]["deviation_percent"].is_null(), "{says}");
        assert!(has(object, code), "{code}: {object}");
        assert!(run.errors.contains(says), "{says}: {}", run.errors);
        assert_eq!(run.errors.lines().count(), 1);
    }
    // One of the two different things can be chosen.
    folder.write("a.wav", RATE, &[&early, &late]);
    for channel in ["left", "right"] {
        let run = folder.read(&format!("--reference=passage:20 --channel {channel} a.wav"));
        let [deviation, limit] = speed(&run);
        assert!(deviation.abs() < limit, "{channel}: {deviation}");
    }
}

#[test]
fn marks_of_its_own_tell_the_speed_as_another_program_changes_it() {
    let folder = Folder::new();
    let made = folder.run("tone --marks 1 --seconds 62 --rate 24000");
    made.ends(0).says(&["marks-1s.wav: 61 marks, 1 s apart,"]);
    let run = folder.read("--reference marks:1 marks-1s.wav");
    let [deviation, limit] = speed(&run);
    assert!(
        deviation.abs() < 1e-4 && limit < 0.011,
        "{deviation} {limit}"
    );
    assert_eq!(run.object["marks"]["found"], 61);
    for factor in [0.78, 0.9, 1.0123, 1.2] {
        if !folder.sped_up_by_sox("marks-1s.wav", "fast.wav", factor, RATE) {
            return;
        }
        let run = folder.read("--reference marks:1 fast.wav");
        let off = speed(&run)[0] - (factor - 1.0) * 100.0;
        assert!(off.abs() < 0.001, "{factor}: {off}");
        let spacing = number(&run.object["marks"]["spacing_s"]);
        assert!((spacing * factor - 1.0).abs() < 1e-5, "{spacing}");
    }
}

#[test]
fn a_passage_is_as_fast_as_another_program_makes_it() {
    let folder = Folder::new();
    folder.write("right.wav", RATE, &[&played(&machine(0.0), 9)]);
    for factor in [0.93, 1.0005, 1.047] {
        if !folder.sped_up_by_sox("right.wav", "fast.wav", factor, RATE) {
            return;
        }
        let [deviation, limit] = speed(&folder.read("--reference passage:20 fast.wav"));
        let off = deviation - (factor - 1.0) * 100.0;
        assert!(off.abs() < limit, "{factor}: {deviation}");
    }
}

fn played_marks(marks: &Marks, machine: &Machine, seconds: f64) -> Vec<f32> {
    let lasts_s = seconds / machine.speed;
    machine.play_with(|place| marks.sample(place), lasts_s, &mut seeded(11))
}

#[test]
fn missing_marks_and_other_clicks_do_no_harm() {
    let folder = Folder::new();
    let row = Marks {
        missing: vec![3, 20, 21, 40],
        others: vec![7.3, 22.22],
        ..Marks::row(0.5, 61)
    };
    let mut machine = machine(-5.0).with_wow(0.1, &mut seeded(10));
    machine.snr_db = 20.0;
    folder.write("a.wav", RATE, &[&played_marks(&row, &machine, 31.5)]);
    let run = folder.read("--reference marks:0.5 a.wav");
    let [deviation, limit] = speed(&run);
    let off = (deviation + 5.0).abs();
    assert!(off < limit && off < 0.01 && limit < 0.02, "{off} {limit}");
    assert_eq!(run.object["marks"]["found"], 57);
    assert_eq!(run.object["marks"]["expected"], 61);
    assert!(has(&run.object, "marks_missing"));
    let text = folder.run("read --reference=marks:0.5 --budget a.wav");
    text.says(&["57 marks of 61 found", "wow and scatter"]);
}

#[test]
fn what_is_no_row_of_marks_is_refused() {
    let folder = Folder::new();
    let true_machine = machine(0.0);
    let marks = |spacing_s, count, seconds| {
        played_marks(&Marks::row(spacing_s, count), &true_machine, seconds)
    };
    let (one, row) = (marks(0.5, 1, 3.0), marks(0.5, 41, 21.0));
    let other = marks(0.55, 37, 21.0);
    let music = played(&true_machine, 12);
    let mut chance = seeded(13);
    let speech = passage(Content::Speech, 20.0, Fade::Abrupt, &mut chance);
    let speech = true_machine.play(&speech, 1.5, 23.0, &mut chance);
    let silence = vec![0.0f32; 3 * RATE as usize];
    for (channels, spacing_s, says) in [
        (&[&silence[..]][..], 0.5, "nothing but silence"),
        (&[&one], 0.5, "A single mark"),
        (&[&music], 1.0, "No marks stand out"),
        (&[&speech], 1.0, "no regular row"),
        // At double and at half speed, and 50 % too fast.
        (&[&row], 1.0, "no regular row"),
        (&[&row], 0.25, "no regular row"),
        (&[&row], 0.75, "no regular row"),
        (&[&row, &other], 0.5, "do not carry the same marks"),
    ] {
        folder.write("a.wav", RATE, channels);
        let run = folder.read(&format!("--reference marks:{spacing_s} a.wav"));
        assert!(run.ends(4).object["speed"]["deviation_percent"].is_null());
        assert!(run.errors.contains(says), "{says}: {}", run.errors);
    }
}

/// A machine at right speed with little hiss.
fn quiet() -> Machine {
    Machine {
        snr_db: 50.0,
        ..machine(0.0)
    }
}

/// A piece of 24 s with 4 s of silence before and after it.
fn piece() -> Vec<f32> {
    let mut chance = seeded(21);
    let tape = passage(Content::Music, 24.0, Fade::Cosine(0.01), &mut chance);
    quiet().play(&tape, 4.0, 32.0, &mut chance)
}

/// A loud crack at a moment.
fn crack(samples: &mut [f32], at_s: f64, length_s: f64) {
    let at = |seconds: f64| (seconds * f64::from(RATE)) as usize;
    let mut chance = seeded(22);
    for sample in &mut samples[at(at_s)..at(at_s + length_s)] {
        *sample += 0.3 * chance.bell() as f32;
    }
}

#[test]
fn a_click_before_or_after_a_passage_is_no_part_of_it() {
    let folder = Folder::new();
    for clicks in [
        &[(2.0, 0.002)][..],
        &[(30.0, 0.002)],
        &[(2.0, 0.06), (30.0, 0.002)],
        // A switch and what it starts.
        &[(1.0, 0.002), (2.0, 0.03)],
    ] {
        let mut samples = piece();
        for (at_s, length_s) in clicks {
            crack(&mut samples, *at_s, *length_s);
        }
        folder.write("a.wav", RATE, &[&samples]);
        let object = folder.measured("--reference passage:24 a.wav");
        let limit = number(&object["speed"]["uncertainty_percent"]);
        assert!(deviation(&object).abs() < limit, "{clicks:?}: {object}");
        assert!(limit < 0.1, "{clicks:?}: {limit}");
        assert!(has(&object, "reference_ambiguous"), "{clicks:?}");
    }
}

/// Marks a second apart whose speed goes up by so many percent half way.
fn stepped(percent: f64) -> Vec<f32> {
    let marks = Marks::row(1.0, 61);
    let step = 1.0 + percent / 100.0;
    let place = |t: f64| t.min(30.0) + step * (t - 30.0).max(0.0);
    quiet().play_with(|t| marks.sample(place(t)), 61.5, &mut seeded(23))
}

#[test]
fn a_speed_that_moves_along_the_marks_is_named() {
    let folder = Folder::new();
    for (percent, says) in [
        (2.0, ": 0.00 % before, +2.00 % after"),
        (-0.5, ": 0.00 % before, -0.50 % after"),
    ] {
        folder.write("a.wav", RATE, &[&stepped(percent)]);
        let object = folder.measured("--reference marks:1 a.wav");
        assert!(has(&object, "speed_moved"), "{object}");
        let text = object["cautions"].to_string();
        assert!(text.contains(says), "{percent}: {text}");
        let limit = number(&object["speed"]["uncertainty_percent"]);
        let off = deviation(&object) - percent / 2.0;
        assert!(off.abs() < limit, "{off}");
        folder
            .run("read --reference=marks:1 a.wav")
            .says(&["MOVED"]);
    }
    folder.write("a.wav", RATE, &[&stepped(0.0)]);
    let object = folder.measured("--reference marks:1 a.wav");
    assert!(!has(&object, "speed_moved"), "{object}");
}

#[test]
fn silence_is_called_silence_whatever_was_to_be_heard() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&vec![0.0; 10 * RATE as usize]]);
    for reference in ["tone:3150", "tone:auto", "note:A4", "passage:20", "marks:1"] {
        let read = folder.read(&format!("--reference {reference} a.wav"));
        let errors = &read.ends(4).errors;
        assert!(
            errors.contains("nothing but silence"),
            "{reference}: {errors}"
        );
    }
}

#[test]
fn what_cannot_be_meant_is_a_usage_error() {
    let folder = Folder::new();
    for (line, says) in [
        ("read --reference recording: a.wav", "says no file"),
        ("read --reference marks:abc a.wav", "marks:1"),
        ("read --sweep --reference marks:1 a.wav", "--sweep"),
        (
            "practise --reference passage:200",
            "the simulated machine plays a tone",
        ),
        ("tone --marks 0", "between 0.1 and 3600"),
        ("tone --marks 2 --seconds 3", "no room for two marks"),
        ("tone 440 --marks 1", "cannot be used with"),
    ] {
        folder.run(line).ends(2).complains(&[says]);
    }
    // What was written is repeated as it stands there.
    for (reference, range) in [
        ("passage:0", "between 2 s and 4 hours"),
        ("passage:20000", "between 2 s and 4 hours"),
        ("passage:1e99", "between 2 s and 4 hours"),
        ("passage:-1", "between 2 s and 4 hours"),
        ("marks:1e99", "between 0.1 and 3600 s"),
        ("marks:1e-9", "between 0.1 and 3600 s"),
        ("tone:1e99", "between 100 and 20000 Hz"),
    ] {
        let refused = folder.run(&format!("read --reference {reference} a.wav"));
        refused
            .ends(2)
            .complains(&[range, &format!("\"{reference}\"")]);
        refused.never_says(&["0000000"]);
    }
}
