//! Fifty questions at once: nothing is lost and nothing is mixed up.

use super::server::{COLLAR, Reply, Server};
use serde_json::{Value, json};
use std::sync::Barrier;

const AT_ONCE: usize = 50;

/// A question of its own for each: another gap, another size, another tab.
fn question(i: usize) -> (&'static str, Value) {
    let text = COLLAR.replace("gap_mm: 6", &format!("gap_mm: {}", 4 + i % 9));
    let tab = format!("tab {i}");
    match i % 5 {
        0 | 1 => (
            "/api/picture",
            json!({"text": text, "width_px": 48 + i, "height_px": 32, "exposure_ev": 9.0, "page": tab, "seq": 1}),
        ),
        2 => ("/api/read", json!({"text": text, "page": tab, "seq": 1})),
        3 => {
            let edits = json!([{"path": ["stack", 0, "gap_mm"], "set": i}]);
            ("/api/edit", json!({"text": text, "edits": edits, "page": tab, "seq": 1}))
        }
        _ => ("/api/numbers", json!({"text": text, "page": tab, "seq": 1})),
    }
}

/// All asked at the same moment; answers in the order of the questions.
fn asked_at_once(server: &Server, questions: &[(&'static str, Value)]) -> Vec<Reply> {
    let ready = Barrier::new(questions.len());
    std::thread::scope(|threads| {
        let ask = |(path, question)| {
            ready.wait();
            server.ask(path, question)
        };
        let asked: Vec<_> =
            questions.iter().map(|(path, question)| threads.spawn(move || ask((path, question)))).collect();
        asked.into_iter().map(|thread| thread.join().expect("an answer")).collect()
    })
}

#[test]
fn fifty_at_once_are_answered_as_each_alone() {
    let server = Server::start();
    let questions: Vec<(&str, Value)> = (0..AT_ONCE).map(question).collect();
    let alone: Vec<Reply> = questions.iter().map(|(path, question)| server.ask(path, question)).collect();
    let together = asked_at_once(&server, &questions);
    for (i, (together, alone)) in together.iter().zip(&alone).enumerate() {
        assert_eq!((together.status, alone.status), (200, 200), "question {i}");
        assert!(together.body == alone.body, "question {i} has another answer among others than alone");
    }
    assert_eq!(server.told(), "");
}

#[test]
fn of_fifty_from_one_tab_the_last_is_answered_and_none_is_lost() {
    let server = Server::start();
    let picture = |i: usize| {
        let question = json!({"text": COLLAR, "width_px": 64 + i, "height_px": 32, "exposure_ev": 9.0, "page": "one tab", "seq": i});
        ("/api/picture", question)
    };
    let questions: Vec<(&str, Value)> = (0..AT_ONCE).map(picture).collect();
    let replies = asked_at_once(&server, &questions);
    for (i, reply) in replies.iter().enumerate() {
        assert!([200, 409].contains(&reply.status), "question {i}: {}", reply.status);
    }
    let last = &replies[AT_ONCE - 1];
    assert_eq!(last.status, 200, "the newest is never stale");
    let mut alone = questions[AT_ONCE - 1].1.clone();
    alone["page"] = json!("another tab");
    assert!(last.body == server.ask("/api/picture", &alone).body);
}

/// What is always answered, such as an edit, is so in any order: two that overtake one another are no reason to lose one.
#[test]
fn edits_that_overtake_one_another_are_both_answered() {
    let server = Server::start();
    for seq in [2, 1] {
        let edits = json!([{"path": ["stack", 0, "gap_mm"], "set": seq}]);
        let reply =
            server.ask("/api/edit", &json!({"text": COLLAR, "edits": edits, "page": "tab", "seq": seq}));
        assert_eq!(reply.status, 200, "{seq}");
    }
}
