//! The same command several times at once, all with the same place to write to.

use super::Folder;
use super::writers;

const RUNS: usize = 4;
/// Of slow commands.
const FEW_RUNS: usize = 2;

#[test]
fn runs_do_not_clash() {
    for writer in writers::all().iter().filter(|writer| writer.replaces) {
        let folder = Folder::new();
        folder.reset(&writer.former());
        let count = if writer.slow { FEW_RUNS } else { RUNS };
        let runs: Vec<_> = (0..count).map(|_| folder.start(&writer.arguments)).collect();
        for mut run in runs {
            assert!(run.wait().expect("it ends").success(), "{}", writer.name());
        }
        // The same bytes as in another run: what is whole can be told from what is not.
        assert_eq!(folder.outputs(), writer.done().files, "{}", writer.name());
        assert!(folder.temporaries().is_empty(), "{}", writer.name());
    }
}

#[test]
fn the_same_folder_again_and_again() {
    /// Films of one frame: hardly any work, so that the renamings meet.
    const FILM: [&str; 8] =
        ["motion", "ember.yaml", "--seconds", "0.25", "--frames-per-s", "4", "-o", "out/"];
    let folder = Folder::new();
    folder.fine(&FILM);
    let new = folder.outputs();
    for _ in 0..5 {
        let runs: Vec<_> = (0..RUNS).map(|_| folder.start(&FILM)).collect();
        runs.into_iter().for_each(|mut run| assert!(run.wait().expect("it ends").success()));
        assert_eq!(folder.outputs(), new);
        assert!(folder.temporaries().is_empty());
    }
}

#[test]
fn of_several_new_ones_one_wins() {
    let folder = Folder::new();
    let call = ["new", "out.yaml", "--no-questions"];
    let runs: Vec<_> = (0..RUNS).map(|_| folder.start(&call)).collect();
    let codes: Vec<_> = runs.into_iter().map(|mut run| run.wait().expect("it ends").code()).collect();
    assert_eq!(codes.iter().filter(|code| **code == Some(0)).count(), 1, "{codes:?}");
    assert_eq!(codes.iter().filter(|code| **code == Some(2)).count(), RUNS - 1, "{codes:?}");
    folder.fine(&["check", "out.yaml"]);
}
