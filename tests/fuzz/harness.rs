//! The loop over inputs: makes each from its seed, watches time and memory, keeps what was found.

use super::counted::peak_of;
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;
use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

pub(crate) type Random = Pcg64Mcg;

/// An input that takes so many times as long as its kind allows does not end by itself: the process is stopped there.
const HANGS: u32 = 10;
/// More findings than this are of one kind mostly; the first tell enough.
const MOST_FINDINGS: usize = 20;
/// How often a long search tells how far it is.
const TELLING: Duration = Duration::from_secs(60);

/// How far an input came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reached {
    /// Not even its form was understood (no YAML, no XML, no picture).
    Form,
    /// Its form was understood, what it says refused.
    Meaning,
    /// Accepted and used.
    Use,
}

/// A kind of input.
pub(crate) trait Fuzzed {
    /// Its name, that of the folder of its seeds.
    const NAME: &'static str;
    /// Inputs of an ordinary run: as many as take a few seconds.
    const INPUTS: u64;
    /// What one may take at most, in time; generous, for machines that are shared.
    const LONGEST: Duration;
    /// What one may take at most, in bytes beyond what was there before.
    const MOST_BYTES: usize;

    /// An input made up of a random stream.
    fn input(&self, random: &mut Random) -> Vec<u8>;

    /// Uses it and panics when something does not hold. The stream is for choices among things to be done with it.
    fn hold(&self, input: &[u8], random: &mut Random) -> Reached;
}

/// The files of a kind's folder of seeds, by name.
pub(crate) fn seeds(name: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/seeds").join(name);
    let all = std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = all.map(|entry| entry.expect("readable").path()).collect();
    paths.sort();
    assert!(!paths.is_empty(), "{} holds no seeds", folder.display());
    paths.into_iter().map(|path| (path.clone(), std::fs::read(path).expect("readable"))).collect()
}

/// The same as text.
pub(crate) fn text_seeds(name: &str) -> Vec<String> {
    seeds(name).into_iter().map(|(_, bytes)| String::from_utf8_lossy(&bytes).into_owned()).collect()
}

fn variable(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name} must be a whole number, found `{text}`")))
}

/// What a run has seen.
#[derive(Default)]
struct Seen {
    form: u64,
    meaning: u64,
    used: u64,
    longest: (Duration, String),
    most_bytes: (usize, String),
    findings: Vec<String>,
}

impl Seen {
    fn told(&self, name: &str) -> String {
        let all = (self.form + self.meaning + self.used).max(1);
        let percent = |part: u64| 100.0 * part as f64 / all as f64;
        format!(
            "{name}: {all} inputs; {:.1} % not of their form, {:.1} % refused for what they say, {:.1} % accepted; longest {:.2?} ({}), \
             most memory {:.1} MiB ({}); {} findings",
            percent(self.form),
            percent(self.meaning),
            percent(self.used),
            self.longest.0,
            self.longest.1,
            self.most_bytes.0 as f64 / f64::from(1 << 20),
            self.most_bytes.1,
            self.findings.len()
        )
    }
}

/// Tries a kind: its seeds as they are, then inputs made of them.
pub(crate) fn run<K: Fuzzed>(kind: &K) {
    // Memory is counted for the whole process, so the kinds take turns.
    static TURN: Mutex<()> = Mutex::new(());
    let _turn = TURN.lock().unwrap_or_else(PoisonError::into_inner);
    let mut seen = Seen::default();
    let watch = Watch::over::<K>();
    if let Some(seed) = variable("WEFTLIGHT_FUZZ_ONLY") {
        let input = made(kind, seed);
        eprintln!("{}", String::from_utf8_lossy(&input));
        one(kind, &watch, &format!("seed {seed}"), seed, &input, &mut seen);
    } else {
        for (path, input) in seeds(K::NAME) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            one(kind, &watch, &name, 0, &input, &mut seen);
        }
        search(kind, &watch, &mut seen);
    }
    drop(watch);
    eprintln!("{}", seen.told(K::NAME));
    assert!(seen.findings.is_empty(), "{}: {}", K::NAME, seen.findings.join("\n"));
}

fn search<K: Fuzzed>(kind: &K, watch: &Watch, seen: &mut Seen) {
    let seconds = variable("WEFTLIGHT_FUZZ_SECONDS").map(Duration::from_secs);
    let since_1970 = || std::time::UNIX_EPOCH.elapsed().map_or(0, |since| since.as_secs());
    // A million inputs a second would not reach the next second's start.
    let new_place = seconds.map_or(0, |_| since_1970() * 1_000_000);
    let first = variable("WEFTLIGHT_FUZZ_FROM").unwrap_or(new_place);
    if seconds.is_some() {
        eprintln!("{}: from seed {first}", K::NAME);
    }
    let (begun, mut told) = (Instant::now(), Instant::now());
    for seed in first.. {
        let enough = seconds.map_or(seed - first >= K::INPUTS, |seconds| begun.elapsed() >= seconds);
        if enough || seen.findings.len() >= MOST_FINDINGS {
            break;
        }
        let input = made(kind, seed);
        one(kind, watch, &format!("seed {seed}"), seed, &input, seen);
        if seconds.is_some() && told.elapsed() > TELLING {
            told = Instant::now();
            eprintln!("{} after {:.0?}", seen.told(K::NAME), begun.elapsed());
        }
    }
}

fn made<K: Fuzzed>(kind: &K, seed: u64) -> Vec<u8> {
    kind.input(&mut Random::seed_from_u64(seed))
}

fn one<K: Fuzzed>(kind: &K, watch: &Watch, name: &str, seed: u64, input: &[u8], seen: &mut Seen) {
    // Another stream than that of the input, so that the choices do not follow from its bytes.
    let mut choices = Random::seed_from_u64(!seed);
    watch.begin(name, input);
    let begun = Instant::now();
    let (bytes, held) = peak_of(|| catch_unwind(AssertUnwindSafe(|| kind.hold(input, &mut choices))));
    let took = begun.elapsed();
    watch.end();
    if took > seen.longest.0 {
        seen.longest = (took, name.to_owned());
    }
    if bytes > seen.most_bytes.0 {
        seen.most_bytes = (bytes, name.to_owned());
    }
    let mut found = |what: String| {
        let kept = watch.keep(name, input);
        let finding = format!("{name} (kept in {}): {what}", kept.display());
        eprintln!("FOUND {}: {finding}", K::NAME);
        seen.findings.push(finding);
    };
    if took > K::LONGEST {
        found(format!("it takes {took:.1?}, more than {:?}", K::LONGEST));
    }
    if bytes > K::MOST_BYTES {
        found(format!("it takes {} MiB, more than {}", bytes >> 20, K::MOST_BYTES >> 20));
    }
    match held {
        Ok(Reached::Form) => seen.form += 1,
        Ok(Reached::Meaning) => seen.meaning += 1,
        Ok(Reached::Use) => seen.used += 1,
        Err(panic) => found(words(&*panic)),
    }
}

/// What a panic says.
fn words(panic: &(dyn Any + Send)) -> String {
    let own = panic.downcast_ref::<String>().map(String::as_str);
    own.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("a panic without words").to_owned()
}

/// What is being tried, since when; ends the process when it does not end by itself. What is tried lies in a file too, for a stack
/// that overflows says nothing.
struct Watch {
    folder: PathBuf,
    kind: &'static str,
    now: Arc<Mutex<Option<(String, Instant)>>>,
    done: Arc<AtomicBool>,
}

impl Watch {
    fn over<K: Fuzzed>() -> Watch {
        let (now, done) = (Arc::new(Mutex::new(None::<(String, Instant)>)), Arc::new(AtomicBool::new(false)));
        let (watched, over) = (Arc::clone(&now), Arc::clone(&done));
        std::thread::spawn(move || {
            while !over.load(Ordering::Relaxed) {
                std::thread::sleep(Duration::from_millis(200));
                let now = watched.lock().unwrap_or_else(PoisonError::into_inner);
                if let Some((name, since)) = &*now
                    && since.elapsed() > HANGS * K::LONGEST
                {
                    eprintln!("FOUND {}: {name} does not end within {:?}", K::NAME, HANGS * K::LONGEST);
                    std::process::abort();
                }
            }
        });
        Watch { folder: PathBuf::from(env!("CARGO_TARGET_TMPDIR")), kind: K::NAME, now, done }
    }

    fn begin(&self, name: &str, input: &[u8]) {
        let _ = std::fs::write(self.folder.join(format!("fuzz-{}-now", self.kind)), input);
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) = Some((name.to_owned(), Instant::now()));
    }

    fn end(&self) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// Keeps an input on disk; its place.
    fn keep(&self, name: &str, input: &[u8]) -> PathBuf {
        let place = self.folder.join(format!("fuzz-{}-{}", self.kind, name.replace(' ', "-")));
        let _ = std::fs::write(&place, input);
        place
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        self.done.store(true, Ordering::Relaxed);
    }
}
