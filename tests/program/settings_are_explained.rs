//! What is set in a file and in the environment holds where nothing is typed,
//! is judged like what is typed, and `settings` says where each came from.

use std::fs;
use std::process::Command;

use crate::support::program::{Answer, Folder, deviation, tone};

/// With a file of settings.
fn with_file(text: &str) -> Folder {
    let folder = Folder::new();
    fs::create_dir_all(folder.path("config/tapewright")).unwrap();
    folder.with("config/tapewright/settings.toml", text);
    folder
}

fn run(folder: &Folder, line: &str, variables: &[(&str, &str)]) -> Answer {
    let mut command: Command = folder.command(line);
    Answer::of(command.envs(variables.iter().copied()))
}

/// What stands behind a name in the table, without the spaces between.
#[track_caller]
fn row(answer: &Answer, name: &str) -> String {
    let line = answer.text.lines().find(|it| it.starts_with(name));
    let line = line.unwrap_or_else(|| panic!("no {name}: {}", answer.said()));
    line.split_whitespace()
        .skip(1)
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn each_value_is_shown_with_where_it_came_from() {
    let folder = with_file("# mine\ntolerance = \"portable\"\nparallel = 2\n\ncolor = \"never\"\n");
    let shown = run(
        &folder,
        "settings --color always",
        &[
            ("TAPEWRIGHT_PARALLEL", "3"),
            ("TAPEWRIGHT_INPUT", "usb audio"),
        ],
    );
    shown.ends(0);
    assert_eq!(row(&shown, "tolerance"), "portable file, line 2");
    assert_eq!(
        row(&shown, "parallel"),
        "3 environment, TAPEWRIGHT_PARALLEL"
    );
    assert_eq!(
        row(&shown, "input"),
        "usb audio environment, TAPEWRIGHT_INPUT"
    );
    assert_eq!(row(&shown, "color"), "always command line");
    assert_eq!(row(&shown, "quiet"), "false default");
    let data = folder.path("data/tapewright").display().to_string();
    assert_eq!(row(&shown, "data"), format!("{data} default"));
    let file = folder
        .path("config/tapewright/settings.toml")
        .display()
        .to_string();
    shown.says(&[&format!("File: {file}")]);
    let path = folder.run("settings --path");
    assert_eq!(path.ends(0).text.trim_end(), file);
    assert_eq!(
        Folder::new().run("settings").ends(0).text.lines().count(),
        12
    );
}

/// The tolerance that a recording was held against.
fn tolerance(folder: &Folder, line: &str, variables: &[(&str, &str)]) -> f64 {
    let read = run(
        folder,
        &format!("read --json --reference 3150 {line} tone.wav"),
        variables,
    );
    read.ends(0);
    assert!(deviation(&read.object).abs() < 0.1);
    read.object["speed"]["tolerance_percent"].as_f64().unwrap()
}

#[test]
fn the_command_line_counts_most_then_the_environment_then_the_file() {
    let folder = with_file("tolerance = \"portable\"\n");
    folder.write("tone.wav", 8000, &[&tone(8000, 3.0, 3150.0, |_| 1.0)]);
    let variable = [("TAPEWRIGHT_TOLERANCE", "0.3")];
    assert!((tolerance(&folder, "", &[]) - 1.0).abs() < 1e-9);
    assert!((tolerance(&folder, "", &variable) - 0.3).abs() < 1e-9);
    assert!((tolerance(&folder, "--tolerance deck", &variable) - 0.5).abs() < 1e-9);
    // One that is empty says nothing.
    let empty = [("TAPEWRIGHT_TOLERANCE", "")];
    assert!((tolerance(&folder, "", &empty) - 1.0).abs() < 1e-9);
}

#[test]
fn what_is_wrong_is_told_with_its_line_and_still_shown() {
    let at = |line: usize| format!("settings.toml, line {line}: ");
    for (text, told) in [
        (
            "color = \"auto\"\ntolerence = 1\n",
            at(2) + "there is no setting \"tolerence\"",
        ),
        (
            "\n\ntolerance = \"dek\"\n",
            at(3) + "tolerance = \"dek\" cannot be: ",
        ),
        (
            "color = \"blue\"\n",
            at(1) + "color = \"blue\" cannot be: must be auto or always or never",
        ),
        (
            "parallel = 0\n",
            at(1) + "parallel = \"0\" cannot be: must be a whole number from 1 to 1024",
        ),
        (
            "quiet = [1]\n",
            at(1) + "quiet must be a text, a number, true or false",
        ),
        ("quiet = true\ncolor = = 1\n", at(2)),
        ("a\u{1b}b = 1\n", at(1)),
    ] {
        let folder = with_file(text);
        let refused = folder.run("inputs");
        refused.ends(2).complains(&[&told, "tapewright settings"]);
        assert_eq!(refused.errors.lines().count(), 1, "{}", refused.errors);
        assert!(!refused.errors.contains('\u{1b}'));
        folder.run("settings").ends(0).says(&["tolerance", &told]);
        for helps in ["help settings", "completions bash", "--help", "--version"] {
            folder.run(helps).ends(0);
        }
    }
    let folder = Folder::new();
    let variable = [("TAPEWRIGHT_CHANNEL", "middle")];
    let told = "TAPEWRIGHT_CHANNEL=middle in the environment cannot be: must be auto";
    run(&folder, "inputs", &variable).ends(2).complains(&[told]);
    run(&folder, "settings", &variable).ends(0).says(&[told]);
}

#[test]
fn the_program_never_writes_the_file() {
    let text = "tolerance = \"portable\"   # as it was\n";
    let folder = with_file(text);
    for line in [
        "settings",
        "settings --tolerance deck",
        "tone --seconds 1",
        "tape list",
    ] {
        folder.run(line);
    }
    let kept = fs::read_to_string(folder.path("config/tapewright/settings.toml"));
    assert_eq!(kept.unwrap(), text);
    assert!(!Folder::new().names().contains(&"config".to_owned()));
}

#[test]
fn a_setting_is_never_at_odds_with_what_is_typed() {
    let folder = with_file(
        "input = \"usb audio\"\noutput = \"usb speaker\"\nchannel = \"left\"\nascii = true\n",
    );
    let samples = tone(48_000, 5.0, 3150.0, |_| 1.0);
    folder.write("tone.wav", 48_000, &[&samples]);
    // Asks for the screen, which is not there, and for nothing else.
    folder.run("watch --file tone.wav --fast").ends(6);
    folder.run("practise").ends(6);
    folder.run("tone --seconds 1").ends(0);
    folder.run("clock --list").ends(0);
    // Of a recording nothing is kept for the input that was set.
    folder.run("clock --file tone.wav --tone 3150 --tone-uncertainty 1");
    assert!(!folder.path("data/tapewright/clocks.jsonl").exists());
}

#[test]
fn the_folder_for_data_may_be_set_and_counts_from_home_or_the_file() {
    let card = "'tape 1' --error 0.1±0.1";
    for (set, at) in [("~/here", "here"), ("beside", "config/tapewright/beside")] {
        let folder = with_file(&format!("data = \"{set}\"\n"));
        folder.run(&format!("tape certify {card}")).ends(0);
        assert!(folder.path(at).join("tapes").is_dir(), "{set}");
        folder.run("tape list").ends(0).says(&["tape 1"]);
        let variable = [("TAPEWRIGHT_DATA", "there")];
        run(&folder, &format!("tape certify {card}"), &variable).ends(0);
        assert!(folder.path("there/tapes").is_dir());
        folder
            .run(&format!("tape --data typed certify {card}"))
            .ends(0);
        folder
            .run(&format!("tape certify {card} --data after"))
            .ends(0);
        assert!(folder.path("typed/tapes").is_dir() && folder.path("after/tapes").is_dir());
    }
}

#[test]
fn quiet_may_be_set_and_taken_back() {
    let folder = with_file("quiet = true\n");
    for name in ["a.wav", "b.wav"] {
        folder.write(name, 8000, &[&tone(8000, 3.0, 3150.0, |_| 1.0)]);
    }
    let line = "read --json --reference 3150 a.wav b.wav";
    assert_eq!(folder.run(line).ends(0).errors, "");
    let told = folder.run(&format!("{line} --quiet=false"));
    told.ends(0).complains(&["2 recordings, all measured"]);
    // An error is told all the same.
    folder
        .run("read missing.wav")
        .ends(3)
        .complains(&["there is no such file"]);
}

#[test]
fn colours_are_where_they_are_asked_for() {
    let folder = Folder::new();
    let is_coloured = |line: &str, variables: &[(&str, &str)]| {
        let answer = run(&folder, line, variables);
        answer.text.contains('\u{1b}') || answer.errors.contains('\u{1b}')
    };
    // Of help, and of a complaint about the command line.
    for line in ["read --help", "read --nonsense"] {
        assert!(!is_coloured(line, &[]), "a pipe has none");
        assert!(
            is_coloured(&format!("--color always {line}"), &[]),
            "{line}"
        );
        assert!(is_coloured(
            &format!("--color=always {line}"),
            &[("NO_COLOR", "1")]
        ));
        assert!(is_coloured(line, &[("TAPEWRIGHT_COLOR", "always")]));
        assert!(!is_coloured(
            &format!("--color never {line}"),
            &[("TAPEWRIGHT_COLOR", "always")]
        ));
    }
    assert!(is_coloured("read --help", &[("CLICOLOR_FORCE", "1")]));
    assert!(!is_coloured(
        "read --help",
        &[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")]
    ));
}
