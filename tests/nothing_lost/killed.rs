//! `kill -9` at any moment: each file is the former or the new one, in the order told, and a folder is one of them as a whole.

use super::writers::{self, Done, Writer};
use super::{Files, Folder, skipped};
use std::collections::BTreeSet;
use std::os::unix::process::ExitStatusExt;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Moments spread over the running time, and those of slow commands.
const MOMENTS: u32 = 7;
const FEW_MOMENTS: u32 = 3;
/// Temporary names seen before the end comes, and the pause after the last of them: within the writing itself, which a spread of
/// moments over long work seldom meets.
const NAMES_SEEN: [(usize, u64); 5] = [(2, 0), (3, 0), (3, 100), (4, 0), (5, 0)];

#[test]
fn former_or_new() {
    // Two at a time, as many as the smallest machine has cores.
    let all = writers::all();
    let (some, others) = all.split_at(all.len() / 2);
    std::thread::scope(|scope| {
        let beside = scope.spawn(|| some.iter().for_each(sweep));
        others.iter().for_each(sweep);
        beside.join().expect("all of them hold");
    });
}

fn sweep(writer: &Writer) {
    let folder = Folder::new();
    let former = writer.former();
    let Done { files: new, took } = writer.done();
    let names: BTreeSet<&str> = new.keys().map(String::as_str).collect();
    assert_eq!(names, writer.writes.iter().copied().collect(), "{}", writer.name());
    assert!(new.iter().all(|(name, bytes)| !bytes.is_empty() && former.get(name) != Some(bytes)));

    let moments = if writer.slow { FEW_MOMENTS } else { MOMENTS };
    for moment in 0..moments {
        let after = took * moment / (moments - 1);
        killed(writer, &folder, [&former, &new], &|_| std::thread::sleep(after));
    }
    let names_seen = if writer.slow { &NAMES_SEEN[2..3] } else { &NAMES_SEEN };
    for &(most, pause_us) in names_seen {
        killed(writer, &folder, [&former, &new], &|child| {
            wait_for_names(&folder, child, most);
            std::thread::sleep(Duration::from_micros(pause_us));
        });
    }
}

fn killed(writer: &Writer, folder: &Folder, [former, new]: [&Files; 2], until: &dyn Fn(&mut Child)) {
    folder.reset(former);
    let mut child = folder.start(&writer.arguments);
    until(&mut child);
    child.kill().expect("it is ours");
    child.wait().expect("it ends");
    let found = folder.outputs();
    let shown = format!("{}: {:?}", writer.name(), found.keys());
    assert!(found.keys().all(|name| new.contains_key(name)), "{shown}: nothing of another name");
    let is_new: Vec<bool> = writer.writes.iter().map(|name| found.get(*name) == new.get(*name)).collect();
    for (name, is_new) in writer.writes.iter().zip(&is_new) {
        assert!(
            *is_new || found.get(*name) == former.get(*name),
            "{shown}: {name} is neither former nor new"
        );
    }
    assert!(is_new.is_sorted_by(|a, b| a >= b), "{shown}: {is_new:?}: in the order told");
    assert!(!writer.whole_folder || is_new.iter().all(|new| *new == is_new[0]), "{shown}: {is_new:?}");
}

/// Waits until so many temporary names have been seen at the top of the folder or one folder below, or the command has ended.
fn wait_for_names(folder: &Folder, child: &mut Child, most: usize) {
    let mut seen = BTreeSet::new();
    while seen.len() < most && child.try_wait().expect("it is ours").is_none() {
        seen.extend(folder.temporaries());
        // Looking without pause would take a core from the command.
        std::thread::sleep(Duration::from_micros(50));
    }
}

/// Runs a command that is killed when it asks the system for its n-th renaming; `None` where that cannot be had here.
fn killed_at_renaming(folder: &Folder, arguments: &[&str], n: usize) -> Option<()> {
    let inject = format!("inject=/^rename:signal=KILL:when={n}");
    let mut command = Command::new("strace");
    command.args(["-f", "-o", "/dev/null", "-e", "trace=/^rename", "-e", &inject]);
    command.arg(env!("CARGO_BIN_EXE_weftlight")).args(arguments).stdin(Stdio::null());
    let status =
        command.current_dir(folder.0.path()).stdout(Stdio::null()).stderr(Stdio::null()).status().ok()?;
    (status.signal() == Some(KILL) || status.code() == Some(128 + KILL)).then_some(())
}

const KILL: i32 = 9;
const NO_STRACE: &str = "`strace` is not there or may not be used";

#[test]
fn at_each_renaming_of_several_files() {
    let all = writers::all();
    for writer in all.iter().filter(|w| !w.slow && w.replaces && !w.whole_folder && w.writes.len() > 1) {
        let new = writer.done().files;
        for n in 1..=writer.writes.len() {
            let folder = Folder::new();
            let former = writer.former();
            folder.reset(&former);
            if killed_at_renaming(&folder, &writer.arguments, n).is_none() {
                return skipped(NO_STRACE);
            }
            let found = folder.outputs();
            for (i, name) in writer.writes.iter().enumerate() {
                let expected = if i + 1 < n { &new[*name] } else { &former[*name] };
                assert!(&found[*name] == expected, "{}: {name} at renaming {n}", writer.name());
            }
        }
    }
}

#[test]
fn between_the_two_renamings_of_a_folder() {
    let writer = writers::all().into_iter().find(|writer| writer.whole_folder).expect("a folder");
    let folder = Folder::new();
    folder.reset(&writer.former());
    if killed_at_renaming(&folder, &writer.arguments, 2).is_none() {
        return skipped(NO_STRACE);
    }
    assert!(folder.outputs().is_empty(), "the former folder is aside, as is told");
    // Whatever is written beside it next puts it back.
    folder.fine(&["check", "still.yaml", "--pixels", "other.csv"]);
    std::fs::remove_file(folder.path("other.csv")).expect("written");
    assert_eq!(folder.outputs(), writer.former());
    folder.fine(&writer.arguments);
    assert_eq!(folder.outputs(), writer.done().files);
}
