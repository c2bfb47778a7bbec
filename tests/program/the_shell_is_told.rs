//! What is written to the shell: nothing that came from elsewhere drives the
//! terminal, and a standard error that takes nothing changes no exit status.

use std::fs;
use std::process::Command;

use crate::support::program::{Folder, PROGRAM};

/// Escape sequences, a bell, a C1 introducer, a carriage return.
const NASTY: &str = "x\u{1b}[31m\u{7}\u{9b}2J\r\u{1b}]0;title";

/// Control characters other than the end of a line.
fn controls(text: &str) -> String {
    let odd = |it: &char| it.is_control() && *it != '\n';
    text.chars().filter(odd).collect()
}

#[test]
fn nothing_that_came_from_elsewhere_drives_the_terminal() {
    let folder = Folder::new();
    let made = folder.run(&format!("tone --seconds 3 -o '{NASTY}.wav'"));
    assert_eq!(controls(&made.ends(0).text), "");
    folder.with(&format!("broken-{NASTY}.wav"), "RIFF");
    let quoted = serde_json::to_string(NASTY).unwrap();
    let card = format!(
        "tape_card = 1\nname = \"a\"\ncarries = \"tone:3150\"\nrecorded_on = {quoted}\n[speed]\nerror_percent = 0.1\nuncertainty_percent = 0.1\nfound = \"certificate\"\nby = {quoted}\non = \"2026-11-26\"\n"
    );
    let card = card.replace('\u{7f}', "").replace("\u{9b}", "\\u009b");
    folder.with("a.toml", &card);
    let unknown = card.replace("[speed]", &format!("{quoted} = 1\n[speed]"));
    folder.with("odd.toml", &unknown);
    fs::create_dir_all(folder.path("data/tapewright/tapes")).unwrap();
    folder.with("data/tapewright/tapes/odd.toml", unknown);
    let newer = serde_json::json!({ "schema": format!("tapewright.snapshot/1{NASTY}") });
    let newer = format!("{newer}\n");
    folder.with("snapshots.jsonl", &newer);
    let clock = newer.replace("snapshot", "clock");
    let named = format!(
        "{{\"schema\":\"tapewright.clock/1\",\"input\":{quoted},\"figure\":{{\"input\":{quoted},\"name\":{quoted},\"rate_hz\":48000,\"error\":1.0,\"uncertainty\":1.0,\"taken_at\":\"2026-11-26T10:00:00Z\",\"against\":{{\"system_clock\":{{\"uncertainty\":5.0,\"disciplined\":true}}}},\"over\":60.0}}}}\n"
    );
    folder.with("clocks.jsonl", named + &clock);
    for line in [
        "read 'NASTY.wav'",
        "read --json 'NASTY.wav'",
        "read --json 'broken-NASTY.wav'",
        "read 'broken-NASTY.wav'",
        "read 'NASTY'",
        "read --reference 'recording:NASTY' 'NASTY.wav'",
        "read '--NASTY'",
        "tape show a.toml",
        "tape show odd.toml",
        "tape show 'NASTY'",
        "tape list",
        "snapshots --data .",
        "snapshots --data 'NASTY'",
        "clock --list --data .",
        "clock --forget 'NASTY' --data .",
        "tone --seconds 1 -o 'no/NASTY.wav'",
        "watch --data 'NASTY'",
        "'NASTY'",
    ] {
        let answer = folder.run(&line.replace("NASTY", NASTY));
        assert_ne!(answer.text.len() + answer.errors.len(), 0, "{line}");
        for (stream, text) in [("output", &answer.text), ("error", &answer.errors)] {
            assert_eq!(controls(text), "", "{line}, standard {stream}");
        }
        if let Some(file) = line.strip_prefix("read --json ") {
            let file = file.trim_matches('\'').replace("NASTY", NASTY);
            assert_eq!(answer.object["file"], *file);
        }
    }
    // A card is shown, not refused.
    folder.run("tape show a.toml").ends(0);
}

#[test]
fn a_standard_error_that_takes_nothing_changes_no_exit_status() {
    let folder = Folder::new();
    for (line, status) in [
        ("tape show missing", 3),
        ("snapshots --data /dev/null", 3),
        ("clock --forget nobody", 2),
        ("tone 5", 2),
        ("tone 23000", 2),
        ("read missing.wav", 3),
        ("watch --file missing.wav", 6),
        ("tape list", 0),
    ] {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let code = folder.command(line).stderr(full).status().unwrap();
        assert_eq!(code.code(), Some(status), "{line}, full");
        // A reader that is gone.
        let mut gone = Command::new("sh");
        gone.arg("-c")
            .arg(format!("exec 2>&-; exec '{PROGRAM}' {line}"));
        folder.settle(&mut gone);
        let code = gone.status().unwrap();
        assert_eq!(code.code(), Some(status), "{line}, closed");
    }
}

/// `| head -1`, and a reader that was gone before the first word.
#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = Folder::new();
    folder.run("tone --seconds 3 -o tone.wav").ends(0);
    for line in [
        "help",
        "--help",
        "watch --help",
        "manpages man",
        "completions bash",
        "settings",
        "inputs",
        "jobs",
        "snapshots",
        "tape list",
        "parts list",
        "clock --list",
        "read tone.wav",
        "read --json tone.wav",
    ] {
        for reader in ["head -1 >first", "true"] {
            let mut shell = Command::new("sh");
            // By then nobody reads any more, where nobody reads at all.
            let program = format!("sleep 0.05; '{PROGRAM}' {line} 2>errors; echo $? >status");
            shell.arg("-c").arg(format!("({program}) | {reader}"));
            folder.settle(&mut shell);
            assert!(shell.status().unwrap().success(), "{line}");
            let said = |name| fs::read_to_string(folder.path(name)).unwrap();
            let told = [said("status"), said("errors")];
            assert_eq!(told, ["0\n", ""], "{line} | {reader}");
        }
    }
}
