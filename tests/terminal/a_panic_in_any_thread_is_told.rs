//! A panic in any thread of the real program ends the sitting in order: the
//! terminal is given back, a sentence tells what happened and where more of it
//! lies, and what was kept before is in the job.
//!
//! The program is the one that is built: `thread_faults.c` lets one call of the
//! system fail in one thread, which the standard library takes for impossible.

use std::fs;
use std::path::PathBuf;

use rustix::process::{Pid, Signal, kill_process};

use crate::support::environment::are_there;
use crate::support::jobs::{job_files, whole_job};
use crate::support::preload;
use crate::support::program::{tone, write_wav};
use crate::support::sound_server::with_sound_server;
use crate::support::window::Window;

const DOWN: &str = "\u{1b}[B";

/// The threads that are made to panic here, as the system calls them.
const TRIED: [&str; 13] = [
    // The one that draws.
    "tapewright",
    "rehearsal",
    "recording",
    "analysis",
    "log",
    "keeper",
    "earlier",
    "reference",
    "signals",
    "sound input",
    "cpal_alsa_in",
    "ticks",
    "sound end",
];

/// Nothing that these do can fail in a way that the standard library takes for
/// impossible.
const WITHOUT_FAULT: [&str; 4] = [
    // Reads a file and hands it over: both may fail, and it knows that.
    "recording file",
    // Calls the kernel past the library of C.
    "to terminal",
    // Its callback calls nothing of the system; the rest waits in the library of
    // sound.
    "cpal_alsa_out",
    // The library of sound's own, in C.
    "threaded-ml",
];

/// No other thread runs.
#[track_caller]
fn assert_all_are_known(process: Pid) {
    let tasks = format!("/proc/{}/task", process.as_raw_nonzero());
    let tasks = fs::read_dir(tasks).expect("it runs");
    let name = |task: fs::DirEntry| fs::read_to_string(task.path().join("comm")).ok();
    for name in tasks.filter_map(|task| name(task.ok()?)) {
        let mut known = TRIED.iter().chain(&WITHOUT_FAULT);
        assert!(known.any(|it| *it == name.trim_end()), "what of {name}?");
    }
}

/// Sittings of one kind, with the library in front of them.
struct Sittings {
    window: Window,
    library: PathBuf,
    arguments: &'static str,
    /// Of its data; the folder of its jobs.
    jobs: &'static str,
}

impl Sittings {
    fn of(arguments: &'static str, jobs: &'static str) -> Option<Self> {
        if !are_there("a panic in any thread", &[preload::COMPILER]) {
            return None;
        }
        let window = Window::open();
        Some(Self {
            library: preload::built("thread_faults", window.home()),
            window,
            arguments,
            jobs,
        })
    }

    /// Starts one, keeps a note, lets the thread panic when it next works, and
    /// looks at what is left.
    fn assert_told(&self, thread: &str, set_to_work: impl FnOnce(&Window, Pid)) {
        let window = &self.window;
        let fault = window.home().join("fault");
        let failure = window.home().join(".local/state/tapewright/failure.log");
        let earlier = fs::read_to_string(&failure).unwrap_or_default();
        window.type_line("clear");
        let library = self.library.display();
        let before = format!(
            "RUST_BACKTRACE=0 THREAD_FAULT='{}' LD_PRELOAD='{library}'",
            fault.display()
        );
        let arguments = self.arguments.replace("LOG", &format!("'{thread}.jsonl'"));
        let process = window.start(
            &before,
            &format!("{arguments} --data kept --job '{thread}'"),
        );
        window.wait_for("? help");
        window.press("e");
        window.wait_for("note: _");
        window.type_line("new belt");
        window.wait_for("kept note, saved in");
        assert_all_are_known(process);
        // Whole at once, for it is looked for all the time.
        let being_written = window.home().join("being written");
        fs::write(&being_written, thread).expect("room");
        fs::rename(&being_written, &fault).expect("room");
        set_to_work(window, process);
        let status = window.last_status();
        assert!(!fault.exists(), "{thread} has made no call");
        window.assert_given_back();
        let screen = window.screen();
        // 128 + SIGHUP: the signal without which that thread does nothing may end
        // the program first.
        if thread != "signals" || status != 129 {
            assert_eq!(status, 101, "{thread}\n{screen}");
            let named = thread.replace("tapewright", "main");
            let said = format!("tapewright: the program itself has failed, in its thread {named}");
            assert!(screen.contains(&said), "{screen}");
            let more = fs::read_to_string(&failure).expect("what tells more");
            let more = more.strip_prefix(&earlier).expect("what failed before");
            // Its first frame, though nobody has asked for it.
            for part in [&*said, "panicked at", "\n   0: "] {
                assert!(more.contains(part), "{part}: {more}");
            }
        }
        let files = job_files(&window.home().join("kept").join(self.jobs));
        let mut jobs = files.iter().map(|file| whole_job(file));
        let job = jobs.find(|job| job.name == thread).expect("its job");
        assert_eq!(job.notes[0].text, "new belt", "{thread}");
    }
}

fn nothing(_: &Window, _: Pid) {}

fn press_all(window: &Window, keys: &[&str]) {
    for key in keys {
        window.press(key);
    }
}

#[test]
fn of_a_rehearsal_with_a_log() {
    let Some(sittings) = Sittings::of("practise --log LOG", "rehearsals") else {
        return;
    };
    for thread in ["tapewright", "rehearsal", "analysis", "log"] {
        sittings.assert_told(thread, nothing);
    }
    sittings.assert_told("keeper", |window, _| {
        press_all(window, &["e", "more", "\r"]);
    });
    // It looks for the jobs of a machine that is named.
    sittings.assert_told("earlier", |window, _| {
        press_all(window, &["m", "deck 4", "\r"]);
    });
    sittings.assert_told("signals", |_, process| {
        kill_process(process, Signal::HUP).expect("it is there");
    });
}

#[test]
fn of_a_recording_while_a_reference_is_read() {
    let Some(sittings) = Sittings::of("watch --file tone.wav", "jobs") else {
        return;
    };
    let path = sittings.window.home().join("tone.wav");
    write_wav(&path, 48_000, 1, tone(48_000, 60.0, 3118.5, |_| 1.0));
    sittings.assert_told("recording", nothing);
    // The key that ends the sitting is pressed before anybody knows of it.
    sittings.assert_told("keeper", |window, _| {
        window.press("e");
        window.wait_for("note: _");
        window.press("more\rq");
    });
    sittings.assert_told("reference", |window, _| {
        window.press("0");
        window.wait_for("what does the tape carry?");
        press_all(window, &[DOWN; 7]);
        window.wait_for("> recording");
        press_all(window, &["\r", "tone.wav", "\r"]);
    });
}

#[test]
fn of_live_sound_and_of_ticks() {
    with_sound_server(&[], |mut server| {
        let _player = server.play_tone(3118.5, 300);
        let arguments = "watch --reference 3150 --ticks --output alsa:default";
        let Some(sittings) = Sittings::of(arguments, "jobs") else {
            return;
        };
        for thread in ["sound input", "cpal_alsa_in", "ticks"] {
            sittings.assert_told(thread, nothing);
        }
        // It ends what is lost.
        sittings.assert_told("sound end", |_, _| server.kill());
    });
}
