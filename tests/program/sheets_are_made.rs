//! `tapewright sheet` writes what a job holds, in every format, whatever the job
//! holds.

use std::fs;
use std::path::Path;

use resvg::tiny_skia::Pixmap;
use resvg::usvg::roxmltree::{Document, Node};
use serde_json::Value;
use tapewright::records::{About, Entry, Label};
use unicode_width::UnicodeWidthStr;

use crate::support::job_sheets::{Bench, measurement, sweep};
use crate::support::program::{Answer, Folder, breaches, number};

fn sheet(folder: &Folder, line: &str) -> Answer {
    folder.run(&format!("sheet --data . {line}"))
}

/// What it writes to standard output, as it is.
fn written(folder: &Folder, line: &str) -> String {
    let line = format!("sheet --data . {line} --output -");
    let output = folder.command(&line).output().expect("it runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).expect("UTF-8")
}

#[track_caller]
fn holds(text: &str, all: &[&str]) {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in all {
        assert!(text.contains(words), "no \"{words}\": {text}");
    }
}

/// What every form for people says of the whole job.
const SAID: [&str; 14] = [
    "2026-03-01 deck 4",
    "Corner bench",
    "0042-17",
    "1.2 % too slow by the test tape that was used; if that is true, a song of three minutes lasted 2 seconds longer",
    "Held notes waver less than before.",
    "-1.200 ±0.012 slow",
    "follows IEC 60386, DIN 45507",
    "New belt, invented part 12",
    "jumps at -0.8 %",
    "bench tape 3150",
    "0.0 ±100.0 ppm, common practice",
    "HOLDS",
    "no conformity to a standard is claimed",
    "Speed at places of the tape, 2026-03-01",
];

#[test]
fn the_page_lies_beside_the_job_and_holds_what_the_job_does() {
    let folder = Folder::new();
    let bench = Bench::whole(folder.root(), "deck-4");
    let before = fs::read(bench.path()).unwrap();
    let made = sheet(&folder, "--workshop 'Corner bench'");
    made.ends(0).says(&["./jobs/deck-4.html"]);
    let page = fs::read_to_string(bench.path().with_extension("html")).unwrap();
    holds(&page, &SAID);
    holds(
        &page,
        &["<h2>Readings, with ± (95 %) where it is known</h2>"],
    );
    assert!(!page.contains("http") && !page.contains("SIMULATED"));
    // By its name, its stem or its file; and a sheet is made anew.
    for called in ["'2026-03-01 deck 4'", "deck-4", "./jobs/deck-4.jsonl"] {
        let line = format!("{called} --workshop 'Corner bench' --output again.html");
        sheet(&folder, &line).ends(0);
    }
    assert_eq!(fs::read_to_string(folder.path("again.html")).unwrap(), page);
    assert_eq!(fs::read(bench.path()).unwrap(), before);
}

#[test]
fn markdown_and_text_say_the_same() {
    let folder = Folder::new();
    Bench::whole(folder.root(), "deck-4");
    let text = written(&folder, "--format text --workshop 'Corner bench'");
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    // A table's cells break, so its words are not in one piece.
    holds(&text, &SAID[..5]);
    holds(&text, &SAID[7..]);
    let markdown = written(
        &folder,
        "--format md --workshop 'Corner bench' --pictures 'in here'",
    );
    holds(&markdown, &SAID);
    holds(&markdown, &["](<in here/deck-4-scale.svg>)"]);
    assert!(folder.path("in here/deck-4-scale.svg").exists());
}

#[test]
fn json_holds_the_figures_of_read_and_its_keys_are_documented() {
    let folder = Folder::new();
    Bench::whole(folder.root(), "deck-4");
    let object: Value = serde_json::from_str(&written(&folder, "--format json")).unwrap();
    assert_eq!(object["schema"], "tapewright.sheet/1");
    let run = &object["runs"][0];
    for (side, deviation) in [("before", -1.2), ("after", 0.05)] {
        let reading = &run[side]["reading"];
        assert_eq!(breaches(reading), [""; 0], "{reading}");
        assert!((number(&reading["speed"]["deviation_percent"]) - deviation).abs() < 1e-6);
    }
    assert_eq!(object["wiper"].as_array().unwrap().len(), 2);
    assert_eq!(object["supply_points"]["verdict"], "holds");
    assert_eq!(object["along"]["sloping"], true);
    let manual = include_str!("../../assets/manual/sheet.md");
    let mut keys = Vec::new();
    collect_keys(&object, &mut keys);
    for key in keys {
        assert!(
            manual.contains(&format!("`{key}`")),
            "{key} is not documented"
        );
    }
}

/// All keys but those of a reading and of a sweep, which are `read --json`'s.
fn collect_keys(value: &Value, keys: &mut Vec<String>) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                keys.push(key.clone());
                if key != "reading" && key != "sweep" {
                    collect_keys(value, keys);
                }
            }
        }
        Value::Array(all) => all.iter().for_each(|it| collect_keys(it, keys)),
        _ => {}
    }
}

#[test]
fn csv_is_the_table_of_readings() {
    let folder = Folder::new();
    let bench = Bench::whole(folder.root(), "deck-4");
    let table = written(&folder, "--format csv");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let at = rows
        .headers()
        .unwrap()
        .iter()
        .position(|it| it == "deviation_percent");
    let read: Vec<f64> = rows
        .records()
        .map(|row| row.unwrap()[at.expect("a column")].parse().unwrap())
        .collect();
    let kept = &bench.file.job().snapshots;
    let expected = kept
        .iter()
        .map(|it| it.measurement.speed.unwrap().deviation.0);
    let near = |(one, other): (&f64, f64)| (one - other).abs() < 1e-6;
    assert!(
        read.len() == kept.len() && read.iter().zip(expected).all(near),
        "{read:?}"
    );
}

/// What a page may consist of.
const ELEMENTS: [&str; 41] = [
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "header",
    "main",
    "section",
    "footer",
    "p",
    "h1",
    "h2",
    "dl",
    "dt",
    "dd",
    "ul",
    "li",
    "table",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "div",
    "figure",
    "figcaption",
    "strong",
    "svg",
    "g",
    "text",
    "rect",
    "line",
    "circle",
    "path",
    "desc",
    "a",
    "b",
    "i",
    "em",
    "span",
];
const ATTRIBUTES: [&str; 27] = [
    "lang",
    "charset",
    "name",
    "content",
    "class",
    "scope",
    "role",
    "aria-label",
    "viewBox",
    "x",
    "y",
    "x1",
    "x2",
    "y1",
    "y2",
    "cx",
    "cy",
    "r",
    "d",
    "width",
    "height",
    "xmlns",
    "version",
    "encoding",
    "id",
    "title",
    "alt",
];

/// Elements and attributes of a page, read as a browser reads them: what begins
/// with `<` is a tag, and an attribute's value ends with its quotation mark.
pub fn tags(page: &str) -> Vec<(String, Vec<String>)> {
    let (doctype, mut rest) = page.split_once('>').expect("a doctype");
    assert_eq!(doctype, "<!DOCTYPE html");
    let mut tags = Vec::new();
    while let Some((_, tag)) = rest.split_once('<') {
        let end = tag.find([' ', '>']).expect("a tag ends");
        let name = tag[..end].trim_start_matches('/').to_owned();
        rest = &tag[end..];
        let mut attributes = Vec::new();
        while !rest.starts_with('>') {
            let (attribute, value) = rest.split_once("=\"").expect("a value in quotes");
            attributes.push(attribute.trim().to_owned());
            rest = value.split_once('"').expect("its end").1;
        }
        if name == "style" && !tag.starts_with('/') {
            rest = &rest[rest.find("</style").expect("its end")..];
        }
        tags.push((name, attributes));
    }
    tags
}

#[test]
fn nothing_typed_runs_or_leaves_its_place() {
    let folder = Folder::new();
    Bench::crowded(folder.root(), "crowd", 2);
    let line = |more: &str| format!("crowd --rehearsal --workshop '<img src=x onerror=y>' {more}");
    let page = written(&folder, &line("--format html"));
    for (element, attributes) in tags(&page) {
        assert!(ELEMENTS.contains(&element.as_str()), "{element}");
        for attribute in attributes {
            assert!(
                ATTRIBUTES.contains(&attribute.as_str()),
                "{element} {attribute}"
            );
        }
    }
    holds(
        &page,
        &[
            "&lt;script&gt;alert(1)&lt;/script&gt;",
            "&lt;img src=x onerror=y&gt;",
        ],
    );
    let markdown = written(&folder, &line("--format md"));
    let first = markdown
        .strip_prefix("<!-- tapewright job sheet -->")
        .expect("its first line");
    assert!(!first.contains('<') && !first.contains("[y]("), "{first}");
    let text = written(&folder, &line("--format text"));
    // Marks that hang on a letter take no column.
    let is_wide = |line: &&str| line.width() > 80;
    assert_eq!(text.lines().find(is_wide), None);
    for (name, text) in [("html", &page), ("md", &markdown), ("text", &text)] {
        let is_odd = |it: char| {
            it.is_control() && it != '\n'
                || matches!(it, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{ffff}')
        };
        assert_eq!(text.find(is_odd), None, "{name}");
        assert!(text.len() < 400_000, "{name}: {} bytes", text.len());
        holds(text, &["SIMULATED", "more measurements among them"]);
    }
    let json: Value = serde_json::from_str(&written(&folder, &line("--format json"))).unwrap();
    assert_eq!(json["simulated"], true);
    written(&folder, &line("--format csv"));
}

#[test]
fn pictures_are_files_of_their_own() {
    let folder = Folder::new();
    Bench::whole(folder.root(), "deck-4");
    Bench::crowded(folder.root(), "crowd", 2);
    let made = sheet(&folder, "deck-4 --pictures measured");
    Bench::extreme(folder.root(), "extreme");
    sheet(&folder, "extreme --pictures measured").ends(0);
    let made_too = sheet(&folder, "crowd --rehearsal --pictures simulated");
    made.ends(0).says(&["8 pictures in measured"]);
    made_too.ends(0);
    for kind in ["measured", "simulated"] {
        let mut count = 0;
        for entry in fs::read_dir(folder.path(kind)).unwrap() {
            let svg = entry.unwrap().path();
            if svg.extension().is_some_and(|it| it == "svg") {
                is_a_picture(&svg, kind == "simulated");
                count += 1;
            }
        }
        assert!(count >= 8, "{count}");
    }
    // Made anew where they are ours, left alone where they are not.
    sheet(&folder, "deck-4 --pictures measured").ends(0);
    fs::write(folder.path("measured/deck-4-speed.svg"), "mine").unwrap();
    let refused = sheet(&folder, "deck-4 --pictures measured");
    refused
        .ends(3)
        .complains(&["deck-4-speed.svg is there already"]);
    assert_eq!(
        fs::read_to_string(folder.path("measured/deck-4-speed.svg")).unwrap(),
        "mine"
    );
}

/// A picture that somebody painted under a name of ours, and a table that
/// somebody went on with.
#[test]
fn what_somebody_else_made_stays_and_then_nothing_is_written() {
    let folder = Folder::new();
    Bench::whole(folder.root(), "deck-4");
    let painted = Pixmap::new(3, 3).unwrap().encode_png().unwrap();
    fs::create_dir(folder.path("all")).unwrap();
    let path = folder.path("all/deck-4-speed.png");
    fs::write(&path, &painted).unwrap();
    for _ in 0..2 {
        let refused = sheet(&folder, "deck-4 --pictures all");
        refused.ends(3).complains(&["deck-4-speed.png is there"]);
        assert_eq!(fs::read(&path).unwrap(), painted);
        assert_eq!(fs::read_dir(folder.path("all")).unwrap().count(), 1);
        assert!(!folder.path("jobs/deck-4.html").exists());
    }
    sheet(&folder, "deck-4 --pictures all --replace").ends(0);
    sheet(&folder, "deck-4 --pictures all").ends(0);
    for (format, again) in [("text", 0), ("md", 0), ("json", 0), ("csv", 3)] {
        let line = format!("deck-4 --format {format} --output sheet.{format}");
        sheet(&folder, &line).ends(0);
        sheet(&folder, &line).ends(again);
    }
    fs::write(folder.path("list"), "Job sheet\nmine").unwrap();
    sheet(&folder, "deck-4 --format text --output list").ends(3);
}

#[test]
fn a_job_file_of_any_name_leads_to_its_pictures() {
    let folder = Folder::new();
    let bench = Bench::whole(folder.root(), "deck-4");
    let odd = folder.path("a>b <c>\\.jsonl");
    fs::copy(bench.path(), &odd).unwrap();
    let mut command = folder.command("sheet --data . --format md --pictures p --output -");
    let markdown = Answer::of(command.arg(&odd));
    markdown.ends(0);
    holds(&markdown.text, &["](<p/a%3eb %3cc%3e%5c-scale.svg>)"]);
}

/// Well-formed, nothing that runs, all words within it; and the same in pixels.
fn is_a_picture(svg: &Path, simulated: bool) {
    let text = fs::read_to_string(svg).unwrap();
    assert_eq!(text.contains("SIMULATED"), simulated);
    let tree = Document::parse(&text).unwrap_or_else(|error| panic!("{}: {error}", svg.display()));
    let size = |name| {
        tree.root_element()
            .attribute(name)
            .unwrap()
            .parse::<f64>()
            .unwrap()
    };
    let (width, height) = (size("width"), size("height"));
    for element in tree.descendants().filter(Node::is_element) {
        let name = element.tag_name().name();
        assert!(ELEMENTS.contains(&name), "{name}");
        for attribute in element.attributes() {
            assert!(
                ATTRIBUTES.contains(&attribute.name()),
                "{}",
                attribute.name()
            );
        }
        let at = |name| {
            element
                .attribute(name)
                .map(|it| it.parse::<f64>().expect("a number"))
        };
        for (name, most) in [("x", width), ("y", height), ("cx", width), ("cy", height)] {
            let inside = at(name).is_none_or(|it| (0.0..=most).contains(&it));
            assert!(inside, "{}: {name} {:?}", svg.display(), at(name));
        }
    }
    let png = fs::read(svg.with_extension("png")).unwrap();
    let pixels = Pixmap::decode_png(&png).unwrap();
    assert!((f64::from(pixels.width()) - 2.0 * width).abs() < 1.0);
    let inked = pixels.pixels().iter().filter(|it| it.red() < 200).count();
    assert!(inked > 300, "{}: {inked}", svg.display());
}

#[test]
fn a_job_that_holds_little_says_what_it_lacks() {
    let folder = Folder::new();
    let name = |name: &str| Bench::new(folder.root(), name, name, false);
    name("empty");
    name("noted").note("only looked at it");
    name("wiped").add(Entry::Wiper(Box::new(sweep(true))));
    name("begun").snapshot(Label::Before, measurement(-1.2, 0.1), |_| {});
    name("ended").snapshot(Label::After, measurement(0.1, 0.1), |_| {});
    let warm = Label::Named("warm".to_owned());
    name("named").snapshot(warm, measurement(-1.2, 0.1), |_| {});
    name("here").snapshot(Label::Before, measurement(-1.2, 0.1), |it| {
        it.measurement.tell_recorded_here();
    });
    for (job, says, never) in [
        ("empty", "nothing has been measured in this job", "too slow"),
        ("noted", "only looked at it", "too slow"),
        ("wiped", "only the trimmer was checked", "last wiper check"),
        ("begun", "Before</dt><dd>1.2 % too slow", "After</dt>"),
        (
            "ended",
            "After</dt><dd>right by the test tape",
            "Before</dt>",
        ),
        ("named", "nothing was kept as before or after", "too slow:"),
        ("here", "recorded on this very machine", "1.2 % too slow"),
    ] {
        let page = written(&folder, &format!("{job} --format html"));
        holds(&page, &[says]);
        assert!(!page.contains(never), "{job}: {never}");
        assert!(page.len() > 2000, "{job}");
        for format in ["md", "text", "json", "csv"] {
            written(&folder, &format!("{job} --format {format}"));
        }
    }
}

#[test]
fn each_speed_has_its_own_before_and_after() {
    let folder = Folder::new();
    let bench = Bench::of_two_speeds(folder.root(), "two");
    assert_eq!(bench.file.job().said(About::Machine), None);
    let page = written(&folder, "--format html");
    holds(
        &page,
        &[
            "Before, 19.05 cm/s</dt><dd>2.1 % too fast",
            "After, 19.05 cm/s</dt><dd>right",
            "Before, 9.53 cm/s</dt><dd>0.9 % too slow",
            "Readings at 9.53 cm/s",
        ],
    );
    assert!(!page.contains("After, 9.53"), "{page}");
}

/// A machine's name that was wrong, a correction long after the work, the same
/// note twice, and two tapes.
#[test]
fn the_head_notes_and_reference_are_those_of_the_work() {
    let folder = Folder::new();
    let mut bench = Bench::new(folder.root(), "head", "2026-03-01 deck 3", false);
    bench.file.say(About::Machine, "deck 3").unwrap();
    for (label, tape) in [(Label::Before, "old tape"), (Label::After, "new tape")] {
        bench.snapshot(label, measurement(-1.2, 0.1), |it| {
            it.tape = Some(tape.to_owned());
            it.note = Some("oiled".to_owned());
        });
    }
    let was = Some("deck 3".to_owned());
    let (about, is) = (About::Machine, "deck 4".to_owned());
    bench.add(Entry::Said { about, is, was });
    let page = written(&folder, "head --format html");
    let zone = jiff::tz::TimeZone::system();
    let taken = &bench.file.job().snapshots;
    let [from, to] = [0, 1].map(|nth: usize| {
        let at = taken[nth].taken_at.to_zoned_datetime(zone.clone());
        at.strftime("%Y-%m-%d %H:%M").to_string()
    });
    holds(
        &page,
        &[
            "<h1>2026-03-01 deck 4</h1>",
            &format!("worked on</dt><dd>{from} to {to}"),
            "tape &quot;old tape&quot;",
            "tape &quot;new tape&quot;",
            "reference</dt><dd>before: ",
            "; after: ",
            "part of the speed's ±, after",
        ],
    );
    assert_eq!(page.matches(": oiled").count(), 2, "{page}");
    // A job that somebody named keeps its name.
    let mut named = Bench::new(folder.root(), "named", "deck 3 of 2026", false);
    named.file.say(About::Machine, "deck 3").unwrap();
    let (about, is, was) = (
        About::Machine,
        "deck 4".to_owned(),
        Some("deck 3".to_owned()),
    );
    named.add(Entry::Said { about, is, was });
    let page = written(&folder, "named --format html");
    holds(&page, &["<h1>deck 3 of 2026</h1>"]);
}

#[test]
fn only_what_is_not_shown_is_counted_besides() {
    let folder = Folder::new();
    let whole = Bench::whole(folder.root(), "whole");
    let count = |job: &str| {
        let json: Value = serde_json::from_str(&written(&folder, job)).unwrap();
        json["others"].as_u64()
    };
    assert_eq!(count("whole --format json"), Some(0), "{:?}", whole.path());
    // One place says nothing along a tape, so it is not shown.
    let mut bench = Bench::new(folder.root(), "one", "one", false);
    let start = Some(tapewright::readings::Position::Start);
    let label = Label::Named("start".to_owned());
    bench.snapshot(label, measurement(0.1, 0.1), |it| it.position = start);
    assert_eq!(count("one --format json"), Some(1));
}

#[test]
fn before_and_after_are_judged_in_the_band_of_the_end() {
    let folder = Folder::new();
    let mut bench = Bench::new(folder.root(), "bands", "bands", false);
    for (label, band) in [(Label::Before, 0.5), (Label::After, 1.0)] {
        bench.snapshot(label, measurement(0.8, 0.1), |it| {
            it.tolerance = Some(tapewright::units::Percent(band));
        });
    }
    let page = written(&folder, "bands --format html");
    holds(
        &page,
        &[
            "Before</dt><dd>right by the test tape",
            "After</dt><dd>right by",
        ],
    );
    assert!(!page.contains("too fast by"), "{page}");
}

#[test]
fn a_long_record_is_told_by_its_thirds() {
    let folder = Folder::new();
    let mut bench = Bench::new(folder.root(), "long", "long", false);
    let mut of = measurement(-1.2, 0.1);
    let at = |deviation| {
        let speed = measurement(deviation, 0.1).speed;
        tapewright::readings::Place::of(&speed.unwrap()).expect("a known one")
    };
    of.along = Some(tapewright::readings::Along::of(at(-1.3), None, at(-1.1)));
    bench.snapshot(Label::Before, of, |_| {});
    let page = written(&folder, "long --format html");
    holds(&page, &["Speed in the thirds of a record of", "s, before"]);
    assert!(!page.contains("at places of the tape"), "{page}");
}

#[test]
fn two_machines_in_one_job_are_told_apart() {
    let folder = Folder::new();
    let mut bench = Bench::new(folder.root(), "both", "both", false);
    for (machine, deviation) in [("deck 4", -1.2), ("deck 5", 2.0)] {
        bench.snapshot(Label::Before, measurement(deviation, 0.1), |it| {
            it.machine = Some(machine.to_owned());
        });
    }
    let page = written(&folder, "both --format html");
    let said = [
        "Before, deck 4</dt><dd>1.2 % too slow",
        "Before, deck 5</dt><dd>2 % too fast",
    ];
    holds(&page, &said);
}

#[test]
fn what_is_no_sheet_is_left_alone_and_what_is_not_there_is_said() {
    let folder = Folder::new();
    sheet(&folder, "")
        .ends(2)
        .complains(&["there is no job in ./jobs yet"]);
    let bench = Bench::whole(folder.root(), "deck-4");
    let none = sheet(&folder, "'deck 5'");
    none.ends(2)
        .complains(&["there is no job \"deck 5\"", "tapewright jobs lists"]);
    sheet(&folder, "'///'").ends(2);
    let beside = bench.path().with_extension("html");
    fs::write(&beside, "<!DOCTYPE html><html>mine").unwrap();
    let refused = sheet(&folder, "deck-4");
    refused
        .ends(3)
        .complains(&["deck-4.html is there already", "--replace"]);
    assert_eq!(
        fs::read_to_string(&beside).unwrap(),
        "<!DOCTYPE html><html>mine"
    );
    sheet(&folder, "deck-4 --replace").ends(0);
    assert!(fs::read_to_string(&beside).unwrap().contains("deck 4"));
    let nowhere = sheet(&folder, "deck-4 --output not/there.html");
    nowhere.ends(3).complains(&["cannot write not/there.html"]);
    fs::write(folder.path("jobs/other.jsonl"), "no job\n").unwrap();
    sheet(&folder, "other").ends(3).complains(&["is no job"]);
    // The newest that can be read is taken all the same.
    sheet(&folder, "--output newest.html")
        .ends(0)
        .complains(&["other.jsonl is no job"]);
}
