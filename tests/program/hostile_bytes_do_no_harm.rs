//! Whatever bytes a file holds, every reader refuses them in a sentence or reads
//! what can be read, says what it left out, and invents nothing. The same is
//! tried by a fuzzer, whose finds lie in `tests/regressions/hostile`.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use crate::support::hostile::{TARGETS, Target};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, RngSeed, TestError, TestRunner};

/// Name and content of every file in a folder, which need not be there.
fn files_in(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let mut files: Vec<_> = entries
        .map(|it| it.unwrap().path())
        .map(|path| (path.display().to_string(), fs::read(&path).unwrap()))
        .collect();
    files.sort();
    files
}

fn seeds(target: &Target) -> Vec<(String, Vec<u8>)> {
    let folders = target.seeds.iter().map(Path::new);
    folders.flat_map(files_in).collect()
}

/// What once failed; what fails now is put there.
fn regressions(target: &Target) -> PathBuf {
    Path::new("tests/regressions/hostile").join(target.name)
}

/// Names of what is in a folder, without their ends.
fn names_in(folder: &str) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).unwrap();
    let stem = |path: PathBuf| path.file_stem().unwrap().to_str().unwrap().to_owned();
    entries.map(|it| stem(it.unwrap().path())).collect()
}

#[test]
fn the_fuzzer_tries_the_same_readers() {
    let targets: BTreeSet<String> = TARGETS.iter().map(|it| it.name.to_owned()).collect();
    assert_eq!(names_in("tests/fuzz/fuzz_targets"), targets);
    assert_eq!(names_in("tests/fuzz/seeds"), targets);
    assert!(names_in("tests/regressions/hostile").is_subset(&targets));
    let told: toml::Table = fs::read_to_string("tests/fuzz/Cargo.toml")
        .unwrap()
        .parse()
        .unwrap();
    let programs = told["bin"].as_array().unwrap().iter();
    let programs: BTreeSet<&str> = programs.map(|it| it["path"].as_str().unwrap()).collect();
    let readme = fs::read_to_string("tests/fuzz/README.md").unwrap();
    let named = readme.lines().find_map(|it| it.strip_prefix("t=")).unwrap();
    let named: BTreeSet<&str> = named
        .split([' ', '#'])
        .filter(|it| !it.is_empty())
        .collect();
    assert_eq!(named, targets.iter().map(|it| &**it).collect());
    for target in &TARGETS {
        let name = target.name;
        let program = format!("fuzz_targets/{name}.rs");
        assert!(programs.contains(&*program), "{name}");
        let program = fs::read_to_string(Path::new("tests/fuzz").join(program)).unwrap();
        assert!(
            program.contains(&format!("hostile::{name}(bytes)")),
            "{name}"
        );
        assert!(
            target.seeds.contains(&&*format!("tests/fuzz/seeds/{name}")),
            "{name}"
        );
    }
    assert_eq!(programs.len(), TARGETS.len());
}

#[test]
fn what_once_failed_holds() {
    let mut tried = 0;
    for target in &TARGETS {
        for (name, bytes) in files_in(&regressions(target)) {
            println!("{name}");
            (target.holds)(&bytes);
            tried += 1;
        }
    }
    assert!(tried > 0);
}

/// Else nothing below says anything.
#[test]
fn good_inputs_are_read() {
    for target in &TARGETS {
        let read = seeds(target).into_iter().filter(|(name, bytes)| {
            println!("{} {name}", target.name);
            (target.holds)(bytes)
        });
        assert!(read.count() > 0, "{}", target.name);
    }
}

#[derive(Clone, Debug)]
enum Place {
    Anywhere(Index),
    Header(usize),
}

impl Place {
    fn index(&self, length: usize) -> usize {
        match self {
            Self::Anywhere(index) => index.index(length),
            Self::Header(at) => at % length,
        }
    }
}

/// What is done to a good input.
#[derive(Clone, Debug)]
enum Harm {
    Byte(Place, u8),
    Bit(Place, u8),
    Cut(Place),
    /// These bytes once more, behind themselves.
    Again(Place, Index, u8),
    /// A size that lies, either way round.
    Number(Place, u32, bool),
    Removed(Place, u8),
    Inserted(Place, Vec<u8>),
}

impl Harm {
    fn done_to(&self, bytes: &mut Vec<u8>) {
        if bytes.is_empty() {
            return;
        }
        let length = bytes.len();
        match self {
            Self::Byte(at, value) => bytes[at.index(length)] = *value,
            Self::Bit(at, bit) => bytes[at.index(length)] ^= 1 << (bit % 8),
            Self::Cut(at) => bytes.truncate(at.index(length)),
            Self::Again(one, other, times) => {
                let (one, other) = (one.index(length), other.index(length));
                let part =
                    bytes[one.min(other)..=one.max(other)].repeat(1 + usize::from(times % 4));
                bytes.splice(one.max(other)..one.max(other), part);
            }
            Self::Number(at, number, little) => {
                let number = if *little {
                    number.to_le_bytes()
                } else {
                    number.to_be_bytes()
                };
                let at = at.index(length);
                for (byte, new) in bytes[at..].iter_mut().zip(number) {
                    *byte = new;
                }
            }
            Self::Removed(at, count) => {
                let at = at.index(length);
                bytes.drain(at..(at + usize::from(*count)).min(length));
            }
            Self::Inserted(at, new) => {
                let at = at.index(length);
                bytes.splice(at..at, new.iter().copied());
            }
        }
    }
}

fn harm() -> impl Strategy<Value = Harm> {
    let index = any::<Index>;
    let lying = prop_oneof![
        Just(0),
        Just(1),
        Just(7),
        Just(0x7fff_ffff),
        Just(0x8000_0000),
        Just(u32::MAX - 1),
        Just(u32::MAX),
        any::<u32>(),
        0u32..4096,
    ];
    // Within the header as often as anywhere.
    let at = prop_oneof![
        index().prop_map(Place::Anywhere),
        (0usize..100).prop_map(Place::Header)
    ];
    prop_oneof![
        (at.clone(), any::<u8>()).prop_map(|(at, value)| Harm::Byte(at, value)),
        (at.clone(), any::<u8>()).prop_map(|(at, bit)| Harm::Bit(at, bit)),
        at.clone().prop_map(Harm::Cut),
        (at.clone(), index(), any::<u8>()).prop_map(|(a, b, times)| Harm::Again(a, b, times)),
        (at.clone(), lying, any::<bool>()).prop_map(|(at, n, le)| Harm::Number(at, n, le)),
        (at.clone(), any::<u8>()).prop_map(|(at, count)| Harm::Removed(at, count)),
        (at, vec(any::<u8>(), 0..40)).prop_map(|(at, new)| Harm::Inserted(at, new)),
    ]
}

const CASES: u32 = 400;

/// Another seed each time, unless `PROPTEST_RNG_SEED` says which.
fn seed() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    match Config::default().rng_seed {
        RngSeed::Fixed(seed) => seed,
        RngSeed::Random => since.expect("after 1970").as_nanos() as u64,
    }
}

fn try_with<S: Strategy<Value = Vec<u8>>>(target: &Target, strategy: &S) {
    let seed = seed();
    println!("{}: PROPTEST_RNG_SEED={seed}", target.name);
    let mut runner = TestRunner::new(Config {
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(seed),
        ..Config::with_cases(CASES)
    });
    let tried = runner.run(strategy, |bytes| {
        (target.holds)(&bytes);
        Ok(())
    });
    match tried {
        Ok(()) => {}
        Err(TestError::Fail(why, bytes)) => {
            let kept = regressions(target).join(format!("seed_{seed}.bin"));
            fs::create_dir_all(regressions(target)).unwrap();
            fs::write(&kept, bytes).unwrap();
            panic!("{}: {why}; kept as {}", target.name, kept.display());
        }
        Err(error) => panic!("{}: {error}", target.name),
    }
}

#[test]
fn good_inputs_that_were_harmed_do_no_harm() {
    for target in &TARGETS {
        let good: Vec<Vec<u8>> = seeds(target).into_iter().map(|it| it.1).collect();
        let harmed = (any::<Index>(), vec(harm(), 1..6)).prop_map(|(which, harms)| {
            let mut bytes = good[which.index(good.len())].clone();
            for harm in &harms {
                harm.done_to(&mut bytes);
            }
            bytes
        });
        try_with(target, &harmed);
    }
}

#[test]
fn any_bytes_do_no_harm() {
    for target in &TARGETS {
        try_with(target, &vec(any::<u8>(), 0..2000));
    }
}
