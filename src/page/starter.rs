//! A first scene from a few questions, as the page asks them.

use super::asked::Answer;
use crate::scene::starter::{Answers, Asked, Form, cloth, package};
use serde_json::{Value, json};

/// The text of a scene with comments, for what was answered.
#[must_use]
pub fn starter(question: &Value) -> Answer {
    match answers(question).and_then(|answers| answers.scene_text()) {
        Ok(text) => Answer::json(&json!({"text": text})),
        Err(what) => Answer::problem(what, "Change the answer."),
    }
}

fn answers(question: &Value) -> Result<Answers, String> {
    let number = |key: &str| {
        let asked = Asked::of(key).ok_or_else(|| format!("nobody asked for `{key}`"))?;
        asked.taken(
            question[key]
                .as_f64()
                .ok_or_else(|| format!("the {} ({}) is missing", asked.what, asked.unit))?,
        )
    };
    let word = |key: &str| question[key].as_str().ok_or_else(|| format!("the {key} is missing"));
    let form = Form::named(word("form")?)?;
    Ok(Answers {
        form,
        package: package(word("package")?)?,
        pitch_mm: number("pitch_mm")?,
        width_mm: number("width_mm")?,
        height_mm: if form == Form::Grid { number("height_mm")? } else { 0.0 },
        cloth: cloth(word("cloth")?)?,
        gap_mm: number("gap_mm")?,
        distance_m: number("distance_m")?,
        room_lx: number("room_lx")?,
    })
}
