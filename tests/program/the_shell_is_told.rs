//! What is written to the shell: nothing that came from elsewhere drives the
//! terminal, and a standard error that takes nothing changes no exit status.

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Escape sequences, a bell, a C1 introducer, a carriage return.
const NASTY: &str = "x\u{1b}[31m\u{7}\u{9b}2J\r\u{1b}]0;title";

fn program(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tapewright"));
    command
        .current_dir(folder)
        .env("HOME", folder)
        .env("XDG_DATA_HOME", folder.join("data"))
        .stdin(Stdio::null());
    command
}

fn run<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Output {
    program(folder).args(arguments).output().unwrap()
}

/// Control characters other than the end of a line.
fn controls(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.chars()
        .filter(|it| it.is_control() && *it != '\n')
        .collect()
}

#[test]
fn nothing_that_came_from_elsewhere_drives_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let wav = format!("{NASTY}.wav");
    let made = run(folder, &["tone", "--seconds", "3", "-o", &wav]);
    assert!(made.status.success(), "{made:?}");
    assert_eq!(controls(&made.stdout), "");
    let broken = format!("broken-{NASTY}.wav");
    fs::write(folder.join(&broken), "RIFF").unwrap();
    let quoted = serde_json::to_string(NASTY).unwrap();
    let card = format!(
        "tape_card = 1\nname = \"a\"\ncarries = \"tone:3150\"\nrecorded_on = {quoted}\n[speed]\nerror_percent = 0.1\nuncertainty_percent = 0.1\nfound = \"certificate\"\nby = {quoted}\non = \"2026-11-26\"\n"
    );
    let card = card.replace('\u{7f}', "").replace("\u{9b}", "\\u009b");
    fs::write(folder.join("a.toml"), &card).unwrap();
    let unknown = card.replace("[speed]", &format!("{quoted} = 1\n[speed]"));
    fs::write(folder.join("odd.toml"), unknown).unwrap();
    fs::create_dir_all(folder.join("data/tapewright/tapes")).unwrap();
    fs::copy(
        folder.join("odd.toml"),
        folder.join("data/tapewright/tapes/odd.toml"),
    )
    .unwrap();
    let newer = format!(
        "{{\"schema\":{}}}\n",
        serde_json::to_string(&format!("tapewright.snapshot/1{NASTY}")).unwrap()
    );
    fs::write(folder.join("record.jsonl"), &newer).unwrap();
    let clock = newer.replace("snapshot", "clock");
    let named = format!(
        "{{\"schema\":\"tapewright.clock/1\",\"input\":{quoted},\"figure\":{{\"input\":{quoted},\"name\":{quoted},\"rate_hz\":48000,\"error\":1.0,\"uncertainty\":1.0,\"taken_at\":\"2026-11-26T10:00:00Z\",\"against\":{{\"system_clock\":{{\"uncertainty\":5.0,\"disciplined\":true}}}},\"over\":60.0}}}}\n"
    );
    fs::write(folder.join("clocks.jsonl"), named + &clock).unwrap();
    for arguments in [
        &["read", &wav][..],
        &["read", "--json", &wav],
        &["read", "--json", &broken],
        &["read", &broken],
        &["read", NASTY],
        &["read", "--reference", &format!("recording:{NASTY}"), &wav],
        &["read", &format!("--{NASTY}")],
        &["tape", "show", "a.toml"],
        &["tape", "show", "odd.toml"],
        &["tape", "show", NASTY],
        &["tape", "list"],
        &["snapshots", "--record", "record.jsonl"],
        &["snapshots", "--record", &broken],
        &["clock", "--list", "--clocks", "clocks.jsonl"],
        &["clock", "--forget", NASTY, "--clocks", "clocks.jsonl"],
        &["tone", "--seconds", "1", "-o", &format!("no/{NASTY}.wav")],
        &["watch", "--record", NASTY],
        &[NASTY],
    ] {
        let output = run(folder, arguments);
        assert_ne!(
            output.stdout.len() + output.stderr.len(),
            0,
            "{arguments:?}"
        );
        for (stream, bytes) in [("output", &output.stdout), ("error", &output.stderr)] {
            assert_eq!(controls(bytes), "", "{arguments:?}, standard {stream}");
        }
        if arguments.contains(&"--json") {
            let object: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
            assert_eq!(object["file"], *arguments.last().unwrap());
        }
    }
    // A card is shown, not refused.
    assert!(run(folder, &["tape", "show", "a.toml"]).status.success());
}

#[test]
fn a_standard_error_that_takes_nothing_changes_no_exit_status() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (arguments, status) in [
        (&["tape", "show", "missing"][..], 3),
        (&["snapshots", "--record", "/tmp"], 3),
        (&["clock", "--forget", "nobody"], 2),
        (&["tone", "5"], 2),
        (&["tone", "23000"], 2),
        (&["read", "missing.wav"], 3),
        (&["watch", "--file", "missing.wav"], 6),
        (&["tape", "list"], 0),
    ] {
        let full = fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let code = program(folder)
            .args(arguments)
            .stderr(full)
            .status()
            .unwrap();
        assert_eq!(code.code(), Some(status), "{arguments:?}, full");
        // A reader that is gone.
        let gone = "exec 2>&-; exec \"$0\" \"$@\"";
        let code = Command::new("sh")
            .arg("-c")
            .arg(gone)
            .arg(env!("CARGO_BIN_EXE_tapewright"))
            .args(arguments)
            .current_dir(folder)
            .env("HOME", folder)
            .env("XDG_DATA_HOME", folder.join("data"))
            .stdin(Stdio::null())
            .status()
            .unwrap();
        assert_eq!(code.code(), Some(status), "{arguments:?}, closed");
    }
}
