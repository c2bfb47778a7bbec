//! Whatever befalls a live input under the whole program is said on screen
//! within a second; no figure is ever made of what lies on both sides of it; the
//! reading comes back by itself, and what was kept stays as it was. Each fault
//! prints when it was said and when the reading was back.

use std::fs;
use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use crate::support::jobs::job_files;
use crate::support::preload::COMPILER;
use crate::support::sitting::{Shown, Sitting, Truths};
use crate::support::sound_server::{SoundServer, with_named_input, with_sound_server};
use crate::support::stalls::Stalls;

/// What is promised: said within this time.
const PROMISED: Duration = Duration::from_secs(1);

/// A lost input is tried again as often, at the latest.
const RETRIED: Duration = Duration::from_secs(2);

/// The reading is back within this time: the input is tried again, may take three
/// seconds to deliver and a few to read, on a busy machine.
const BACK: Duration = Duration::from_secs(40);

/// How long the screen is watched while nothing comes, and once it is back.
const SILENT: Duration = Duration::from_secs(1);
const WATCHED: Duration = Duration::from_secs(3);

/// Whole hertz, far enough apart that nothing between them is either.
const BEFORE_HZ: u32 = 3118;
const AFTER_HZ: u32 = 3200;

/// The rate that the program hears at: a server converts what an input has.
const HEARD_AT_HZ: u32 = 48_000;

/// A steady tone in the log: its last place, and what the first moments add.
const LOGGED_PERCENT: f64 = 0.02;

fn percent(hz: u32) -> f64 {
    (f64::from(hz) / 3150.0 - 1.0) * 100.0
}

/// What the screen must say.
#[derive(Clone, Copy)]
enum Says<'a> {
    /// The input is lost, and these words.
    Lost(&'a str),
    NoSignal,
    /// The reading is late.
    Late,
    /// Gaps are counted.
    Gap,
    /// Nothing, for nothing is lost.
    Nothing,
    /// Gaps where anything is lost, which is up to the machine.
    WhatIsLost,
}

impl Says<'_> {
    fn is_said(self, shown: &Shown, gaps_before: u64) -> bool {
        match self {
            Says::Lost(words) => shown.is_lost && !shown.is_live && shown.says(words),
            Says::NoSignal => shown.percent.is_none() && shown.says("no signal"),
            Says::Late => !shown.is_live && shown.says("LATE: "),
            Says::Gap => shown.count("gaps") > gaps_before,
            Says::Nothing | Says::WhatIsLost => true,
        }
    }
}

struct Bench {
    server: SoundServer,
    sitting: Sitting,
    job: PathBuf,
    kept: Vec<u8>,
    /// What plays now.
    hz: u32,
    /// The module that plays it.
    tone: String,
}

impl Bench {
    /// A sitting that reads and has kept something.
    fn with(server: SoundServer, input: &str) -> Self {
        let tone = server.hum("deck", BEFORE_HZ);
        let arguments = format!("--machine bench --reference 3150 {input}");
        let sitting = Sitting::begin(server.folder(), &arguments);
        let patience = Duration::from_secs(60);
        let wait = |what, is_so: &dyn Fn(&Shown) -> bool| {
            sitting.until(Instant::now(), patience, what, is_so, |_| {});
        };
        wait("settled", &|it| {
            it.is_settled && it.reads(percent(BEFORE_HZ))
        });
        sitting.window.press("b");
        wait("kept", &|it| it.says("saved in job"));
        let job = job_files(&server.folder().join("data/jobs")).remove(0);
        let kept = fs::read(&job).expect("a job");
        Self {
            server,
            sitting,
            job,
            kept,
            hz: BEFORE_HZ,
            tone,
        }
    }

    /// Another tone where there was one, or an output in place of one that is gone.
    fn play_other(&mut self, sink: &str) {
        self.hz = BEFORE_HZ + AFTER_HZ - self.hz;
        self.tone = self.server.hum(sink, self.hz);
    }

    fn replug(&mut self, rate_hz: u32) {
        self.server.load_sink("deck", rate_hz);
        self.plays_at(rate_hz);
    }

    /// Back at this rate.
    fn plays_at(&mut self, rate_hz: u32) {
        assert_eq!(self.server.rate_hz_of("deck.monitor"), rate_hz);
        self.play_other("deck");
    }

    /// One fault, and what comes of it. `strike` does it; `mend` undoes it where
    /// it does not pass by itself.
    fn fault(
        &mut self,
        name: &str,
        says: Says,
        strike: impl FnOnce(&mut Self),
        mend: Option<&dyn Fn(&mut Self)>,
    ) {
        let before = self.sitting.look();
        assert!(before.reads(percent(self.hz)), "{name}: {}", before.text);
        let [gaps, lost] = ["gaps", "samples lost"].map(|it| before.count(it));
        let mut truths = Truths::new(&[percent(BEFORE_HZ), percent(AFTER_HZ)]);
        let stalls = Stalls::watch();
        let mut since = Instant::now();
        strike(self);
        let did = since.elapsed();
        since += did;
        let is_said = |it: &Shown| says.is_said(it, gaps);
        let may_lose = matches!(says, Says::Lost(_)) || mend.is_some();
        let see = |truths: &mut Truths, it: &Shown| {
            truths.see(it);
            assert!(may_lose || !it.says("INPUT LOST"), "{name}: {}", it.text);
        };
        stalls.take();
        let patience = 20 * PROMISED;
        let said = (self.sitting).until(since, patience, name, is_said, |it| see(&mut truths, it));
        let late = stalls.take();
        assert!(
            said < PROMISED + late,
            "{name}: said after {said:?}, {late:?} of it the machine's"
        );
        if let Some(mend) = mend {
            // Nothing live is shown while nothing comes.
            let silent = Instant::now();
            while silent.elapsed() < SILENT {
                let shown = self.sitting.look();
                let has_figure = shown.is_live && shown.percent.is_some();
                assert!(!has_figure, "{name}: {}", shown.text);
                thread::sleep(Duration::from_millis(20));
            }
            since = Instant::now();
            mend(self);
        }
        let truth = percent(self.hz);
        let is_back = |it: &Shown| !it.is_lost && it.reads(truth);
        let back = (self.sitting).until(since, BACK, name, is_back, |it| see(&mut truths, it));
        // From now on there is one truth alone.
        let mut truths = Truths::new(&[truth]);
        let watched = Instant::now();
        while watched.elapsed() < WATCHED {
            see(&mut truths, &self.sitting.look());
            thread::sleep(Duration::from_millis(10));
        }
        let after = self.sitting.look();
        let is_right = truths.figures > 0 && after.reads(truth);
        assert!(is_right, "{name}: {}", after.text);
        assert_eq!(after.rate_hz(), Some(HEARD_AT_HZ), "{name}");
        let more_gaps = after.count("gaps") > gaps;
        match says {
            Says::Nothing => assert!(!more_gaps, "{name}: {}", after.text),
            Says::WhatIsLost => {
                let more_lost = after.count("samples lost") > lost;
                assert_eq!(more_gaps, more_lost, "{name}: {}", after.text);
            }
            _ => {}
        }
        assert_eq!(fs::read(&self.job).expect("a job"), self.kept, "{name}");
        println!(
            "{name:36} said after {:4} ms ({} ms the machine's, {:4} ms to do it), back after {:4} ms, \
             gaps {:2}, samples lost {}",
            said.as_millis(),
            late.as_millis(),
            did.as_millis(),
            back.as_millis(),
            after.count("gaps"),
            after.count("samples lost"),
        );
    }

    /// Nothing that was logged lies between the tones either.
    fn end(&self) {
        self.sitting.window.quit();
        assert_eq!(fs::read(&self.job).expect("a job"), self.kept);
        let log = self.sitting.log();
        let logged = log.iter().filter_map(|it| it["deviation_percent"].as_f64());
        let logged: Vec<f64> = logged.collect();
        let far = logged.iter().filter(|it| {
            let from = |hz| (*it - percent(hz)).abs();
            from(BEFORE_HZ).min(from(AFTER_HZ)) > LOGGED_PERCENT
        });
        let far: Vec<&f64> = far.collect();
        println!(
            "seconds in the log {}, with a figure {}",
            log.len(),
            logged.len()
        );
        assert!(!logged.is_empty() && far.is_empty(), "{far:?}");
    }
}

#[test]
fn what_befalls_the_default_input() {
    with_sound_server(&[COMPILER], |server| {
        let mut bench = Bench::with(server, "");
        for (name, says, order) in [
            ("muted", Says::NoSignal, "set-source-mute deck.monitor"),
            (
                "suspended by the server",
                Says::Lost("stopped delivering"),
                "suspend-sink deck",
            ),
        ] {
            bench.fault(
                name,
                says,
                |it| drop(it.server.pactl(&format!("{order} 1"))),
                Some(&|it| drop(it.server.pactl(&format!("{order} 0")))),
            );
        }
        bench.fault(
            "another default",
            Says::Lost("has stopped delivering"),
            |it| {
                it.server.load_sink("other", 48_000);
                it.play_other("other");
                it.server.pactl("set-default-source other.monitor");
            },
            None,
        );
        bench.fault(
            "unplugged, and another stands in",
            Says::Lost("has stopped delivering"),
            |it| {
                let other = it.server.module_of("other");
                it.server.pactl(&format!("unload-module {}", it.tone));
                it.server.pactl(&format!("unload-module {other}"));
                // It has been playing there all along.
                it.hz = BEFORE_HZ;
            },
            None,
        );
        // All outputs, so that nothing can stand in.
        let unplug = |it: &mut Bench| drop(it.server.pactl("unload-module module-null-sink"));
        for (name, rate_hz) in [("unplugged", 48_000), ("unplugged, back at 96 kHz", 96_000)] {
            let says = Says::Lost("reports errors and no more");
            bench.fault(name, says, unplug, Some(&|it| it.replug(rate_hz)));
        }
        bench.fault(
            "server gone, back at 44.1 kHz",
            Says::Lost("reports errors and no more"),
            |it| it.server.kill(),
            Some(&|it| {
                it.server.restart_at(44_100);
                it.plays_at(44_100);
            }),
        );
        bench.end();
    });
}

#[test]
fn what_befalls_a_named_input() {
    with_named_input(&[COMPILER], |server| {
        // The server moves to it whoever listens to what is pulled out.
        server.load_sink("other", 48_000);
        server.hum("other", 3000);
        let deck = server.module_of("deck");
        let mut bench = Bench::with(server, "--input alsa:deck");
        bench.fault(
            "moved by hand to another",
            Says::Lost("has stopped delivering"),
            |it| {
                let streams = it.server.pactl("list short source-outputs");
                let stream = streams.split_whitespace().next().expect("it listens");
                it.server
                    .pactl(&format!("move-source-output {stream} other.monitor"));
            },
            None,
        );
        bench.fault(
            "unplugged while another is there",
            Says::Lost("skipped, as if another had taken its place"),
            |it| drop(it.server.pactl(&format!("unload-module {deck}"))),
            Some(&|it| it.replug(48_000)),
        );
        bench.end();
    });
}

#[test]
fn what_befalls_the_sound_card() {
    with_sound_server(&[COMPILER], |server| {
        let mut bench = Bench::with(server, "");
        let passing = [
            ("an overrun", "once EPIPE"),
            ("asleep for a moment", "once ESTRPIPE"),
        ];
        for (name, fault) in passing {
            bench.fault(name, Says::Gap, |it| it.sitting.fault(fault), None);
        }
        let passes = |it: &mut Bench| it.sitting.fault("");
        let [stopped, errors] = ["has stopped delivering", "reports errors and no more"];
        for (name, fault, why) in [
            ("nothing but overruns", "wait EPIPE", stopped),
            ("asleep", "wait ESTRPIPE", stopped),
            ("pulled out", "wait ENODEV", "is gone"),
            ("errors on waiting", "wait EIO", errors),
            ("errors on reading", "read EIO", errors),
            ("overruns on reading", "read EPIPE", stopped),
        ] {
            let strike = |it: &mut Bench| it.sitting.fault(fault);
            bench.fault(name, Says::Lost(why), strike, Some(&passes));
        }
        bench.fault(
            "taken by another program meanwhile",
            Says::Lost("in use by another program"),
            |it| {
                it.sitting.fault("wait ENODEV");
                let is_lost = |it: &Shown| it.is_lost;
                let now = Instant::now();
                it.sitting.until(now, 2 * PROMISED, "lost", is_lost, |_| {});
                it.sitting.fault("open EBUSY");
                let is_busy = |it: &Shown| it.says("in use by another program");
                let now = Instant::now();
                it.sitting
                    .until(now, 2 * RETRIED, "why it waits", is_busy, |_| {});
            },
            Some(&passes),
        );
        bench.end();
    });
}

#[test]
fn what_befalls_the_program() {
    with_sound_server(&[COMPILER], |server| {
        let mut bench = Bench::with(server, "");
        let stall = |it: &mut Bench| it.sitting.fault("stall analysis");
        let go_on = |it: &mut Bench| it.sitting.fault("");
        bench.fault(
            "analysis stopped for 1.5 s",
            Says::Nothing,
            |it| {
                stall(it);
                thread::sleep(Duration::from_millis(1500));
                go_on(it);
            },
            None,
        );
        let stalled_until = |seconds| {
            move |it: &mut Bench| {
                thread::sleep(Duration::from_secs(seconds));
                go_on(it);
            }
        };
        bench.fault(
            "analysis stopped for 4 s",
            Says::Late,
            stall,
            Some(&stalled_until(3)),
        );
        bench.fault(
            "the same, and the tone changes",
            Says::Gap,
            |it| {
                stall(it);
                thread::sleep(Duration::from_millis(2800));
                it.server.pactl(&format!("unload-module {}", it.tone));
                it.play_other("deck");
                thread::sleep(Duration::from_millis(1200));
                go_on(it);
            },
            None,
        );
        bench.fault(
            "program stopped for 3 s",
            Says::WhatIsLost,
            |it| {
                it.sitting.stop(true);
                thread::sleep(Duration::from_secs(3));
                it.sitting.stop(false);
            },
            None,
        );
        bench.end();
    });
}

#[test]
fn an_input_that_another_program_holds_is_refused_in_a_sentence() {
    with_sound_server(&[COMPILER], |server| {
        let window = Sitting::window_with(server.folder(), "open EBUSY", "");
        window.wait_for("tapewright: ");
        assert_eq!(window.last_status(), 5);
        let said = Shown::of(window.screen());
        for words in [
            "in use by another program; close that program",
            "inputs lists them",
        ] {
            assert!(said.says(words), "{}", said.text);
        }
    });
}
