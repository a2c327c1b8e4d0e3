//! Changing single values in the text of a file, so that comments and the maker's own layout stay.
//!
//! **How**: the change is first made on the values alone, which says what the new text must mean. Then the text is changed where the value
//! stands; when that does not give the meaning wanted (a layout that was not foreseen), the top-level entry is written anew, and at last the
//! whole file. Every new text is read again and compared before it is handed out: an edit does what was asked or nothing.

use super::plain::{Plain, Step, key_text};
use super::tree::{Node, Value, parse};
use crate::diagnose::Problem;
use std::ops::Range;

/// Steps of a way at most: deeper than any file of ours.
const MOST_STEPS: usize = 16;

/// What to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Give a value; a key that is missing is added, with the maps above it; lists are not grown.
    Set {
        /// Where.
        path: Vec<Step>,
        /// What.
        value: Plain,
    },
    /// Take a key or an item of a list away.
    Remove {
        /// Where.
        path: Vec<Step>,
    },
    /// Put an item into a list.
    Insert {
        /// The list.
        path: Vec<Step>,
        /// Before which item; the length of the list puts it at the end.
        index: usize,
        /// What.
        value: Plain,
    },
    /// Give an item of a list another place in it; comments of its own go with it.
    Move {
        /// The list.
        path: Vec<Step>,
        /// Which item.
        from: usize,
        /// Where it then stands.
        to: usize,
    },
}

/// Why an edit could not be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EditError {
    /// The text is not YAML.
    #[error("the text cannot be read: {}", .0.what)]
    Unreadable(Box<Problem>),
    /// There is nothing at that place.
    #[error("there is no such place in the file: {0}")]
    NoPlace(String),
    /// No text was found that means what was asked.
    #[error("the file's layout does not allow this change: {0}")]
    Layout(String),
}

/// The text after all edits, one after another.
///
/// # Errors
/// When the text is not YAML, or a place does not exist.
pub fn edited(text: &str, edits: &[Edit]) -> Result<String, EditError> {
    edits.iter().try_fold(text.to_owned(), |text, edit| one(&text, edit))
}

fn one(text: &str, edit: &Edit) -> Result<String, EditError> {
    if path_of(edit).len() > MOST_STEPS {
        return Err(EditError::NoPlace(format!("{} …", in_words(&path_of(edit)[..MOST_STEPS]))));
    }
    let tree = parse(text).map_err(EditError::Unreadable)?;
    let mut wanted = Plain::from(&tree);
    let edit = &with_maps_above(&wanted, edit);
    apply(&mut wanted, edit)?;
    let means_it = |new: &String| parse(new).is_ok_and(|tree| Plain::from(&tree) == wanted);
    in_place(text, &tree, edit)
        .filter(&means_it)
        .or_else(|| entry_anew(text, &tree, &wanted, edit).filter(&means_it))
        .or_else(|| Some(written(&wanted)).filter(&means_it))
        .ok_or_else(|| EditError::Layout(in_words(path_of(edit))))
}

/// A value whose map is missing brings the map along.
fn with_maps_above(root: &Plain, edit: &Edit) -> Edit {
    let mut edit = edit.clone();
    while let Edit::Set { path, value } = &edit {
        let Some((Step::Key(key), above)) = path.split_last() else { break };
        if above.is_empty() || !matches!(above.last(), Some(Step::Key(_))) || root.at(above).is_some() {
            break;
        }
        edit = Edit::Set { path: above.to_vec(), value: Plain::Map(vec![(key.clone(), value.clone())]) };
    }
    edit
}

fn path_of(edit: &Edit) -> &[Step] {
    match edit {
        Edit::Set { path, .. }
        | Edit::Remove { path }
        | Edit::Insert { path, .. }
        | Edit::Move { path, .. } => path,
    }
}

fn in_words(path: &[Step]) -> String {
    let step = |step: &Step| match step {
        Step::Key(key) => key.clone(),
        Step::Index(index) => index.saturating_add(1).to_string(),
    };
    path.iter().map(step).collect::<Vec<_>>().join(" \u{2192} ")
}

/// The change on the values.
fn apply(root: &mut Plain, edit: &Edit) -> Result<(), EditError> {
    let none = || EditError::NoPlace(in_words(path_of(edit)));
    match edit {
        Edit::Set { path, value } => {
            if let Some(there) = root.at_mut(path) {
                *there = value.clone();
                return Ok(());
            }
            let (Step::Key(key), above) = path.split_last().ok_or_else(none)? else { return Err(none()) };
            match root.at_mut(above).ok_or_else(none)? {
                Plain::Map(entries) => entries.push((key.clone(), value.clone())),
                empty @ Plain::Nothing => *empty = Plain::Map(vec![(key.clone(), value.clone())]),
                _ => return Err(none()),
            }
        }
        Edit::Remove { path } => {
            let (last, above) = path.split_last().ok_or_else(none)?;
            match (root.at_mut(above).ok_or_else(none)?, last) {
                (Plain::Map(entries), Step::Key(key)) => {
                    let at = entries.iter().position(|(k, _)| k == key).ok_or_else(none)?;
                    entries.remove(at);
                }
                (Plain::List(items), Step::Index(index)) if *index < items.len() => {
                    items.remove(*index);
                }
                _ => return Err(none()),
            }
        }
        Edit::Insert { path, index, value } => match root.at_mut(path).ok_or_else(none)? {
            Plain::List(items) if *index <= items.len() => items.insert(*index, value.clone()),
            _ => return Err(none()),
        },
        Edit::Move { path, from, to } => match root.at_mut(path).ok_or_else(none)? {
            Plain::List(items) if (*from).max(*to) < items.len() => {
                let item = items.remove(*from);
                items.insert(*to, item);
            }
            _ => return Err(none()),
        },
    }
    Ok(())
}

/// The node at the end of a way.
fn node_at<'a>(root: &'a Node, way: &[Step]) -> Option<&'a Node> {
    let Some((step, rest)) = way.split_first() else { return Some(root) };
    match (&root.value, step) {
        (Value::Map(entries), Step::Key(key)) => {
            node_at(&entries.iter().find(|(k, _)| k.spelling() == key)?.1, rest)
        }
        (Value::List(items), Step::Index(index)) => node_at(items.get(*index)?, rest),
        _ => None,
    }
}

/// Whether a list or map stands in brackets.
fn in_brackets(text: &str, node: &Node) -> bool {
    matches!(node.value, Value::List(_) | Value::Map(_))
        && text[node.place.bytes.start..].starts_with(['{', '['])
}

/// The byte after the last one of a value.
fn end_of(text: &str, node: &Node) -> usize {
    let last = match &node.value {
        Value::List(items) => items.last(),
        Value::Map(entries) => entries.last().map(|(_, value)| value),
        _ => return node.place.bytes.end,
    };
    let inner = last.map_or(node.place.bytes.start + 1, |last| end_of(text, last));
    if !in_brackets(text, node) {
        return if last.is_some() { inner } else { node.place.bytes.end };
    }
    // Up to the bracket that closes it; what lies between is blank, a comma, or a comment.
    let mut comment = false;
    for (i, c) in text[inner..].char_indices() {
        match c {
            '\n' => comment = false,
            '#' => comment = true,
            '}' | ']' if !comment => return inner + i + 1,
            _ => {}
        }
    }
    text.len()
}

fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |i| i + 1)
}

/// The byte after the end of the line, its line end included.
fn line_end(text: &str, at: usize) -> usize {
    text[at..].find('\n').map_or(text.len(), |i| at + i + 1)
}

fn spliced(text: &str, range: Range<usize>, with: &str) -> String {
    format!("{}{with}{}", &text[..range.start], &text[range.end..])
}

/// A line put before a byte that starts one; the text before it gets its line end.
fn with_line(text: &str, at: usize, line: &str) -> String {
    let before = if at > 0 && !text[..at].ends_with('\n') { "\n" } else { "" };
    spliced(text, at..at, &format!("{before}{line}\n"))
}

/// The text with the change made where the value stands; `None` for a layout that this does not know.
fn in_place(text: &str, tree: &Node, edit: &Edit) -> Option<String> {
    match edit {
        Edit::Set { path, value } => match node_at(tree, path) {
            Some(there) => {
                let block =
                    matches!(there.value, Value::List(_) | Value::Map(_)) && !in_brackets(text, there);
                if block || there.value == Value::Nothing {
                    return None;
                }
                Some(spliced(text, there.place.bytes.start..end_of(text, there), &value.in_flow()))
            }
            None => {
                let (Step::Key(key), above) = path.split_last()? else { return None };
                added_key(text, node_at(tree, above)?, key, value)
            }
        },
        Edit::Remove { path } => {
            let (last, above) = path.split_last()?;
            removed(text, node_at(tree, above)?, last)
        }
        Edit::Insert { path, index, value } => inserted(text, node_at(tree, path)?, *index, value),
        Edit::Move { path, from, to } => moved(text, node_at(tree, path)?, *from, *to),
    }
}

fn added_key(text: &str, map: &Node, key: &str, value: &Plain) -> Option<String> {
    let Value::Map(entries) = &map.value else { return None };
    let pair = format!("{}: {}", key_text(key), value.in_flow());
    if in_brackets(text, map) {
        return Some(match entries.last() {
            Some((_, last)) => {
                let at = end_of(text, last);
                spliced(text, at..at, &format!(", {pair}"))
            }
            None => spliced(text, map.place.bytes.start..end_of(text, map), &format!("{{{pair}}}")),
        });
    }
    let (first, last) = (&entries.first()?.0, &entries.last()?.1);
    let indent = " ".repeat(first.place.column - 1);
    Some(with_line(text, line_end(text, end_of(text, last)), &format!("{indent}{pair}")))
}

fn removed(text: &str, holder: &Node, last: &Step) -> Option<String> {
    // The pieces from their first to their last byte, and which of them goes.
    let (pieces, gone): (Vec<Range<usize>>, usize) = match (&holder.value, last) {
        (Value::Map(entries), Step::Key(key)) => (
            entries.iter().map(|(k, v)| k.place.bytes.start..end_of(text, v)).collect(),
            entries.iter().position(|(k, _)| k.spelling() == key)?,
        ),
        (Value::List(items), Step::Index(index)) => {
            (items.iter().map(|item| item.place.bytes.start..end_of(text, item)).collect(), *index)
        }
        _ => return None,
    };
    let piece = pieces.get(gone)?.clone();
    if in_brackets(text, holder) {
        return Some(match (gone.checked_sub(1), pieces.get(gone + 1)) {
            (Some(before), _) => spliced(text, pieces[before].end..piece.end, ""),
            (None, Some(next)) => spliced(text, piece.start..next.start, ""),
            (None, None) => spliced(text, piece, ""),
        });
    }
    if pieces.len() == 1 {
        return None;
    }
    let from = line_start(text, piece.start);
    // A list in a map's line, `- a: 1`: the first key shares its line with the dash.
    let own_line = text[from..piece.start].chars().all(|c| c == ' ' || c == '-');
    let to = line_end(text, piece.end);
    (own_line && (matches!(holder.value, Value::List(_)) || !text[from..piece.start].contains('-')))
        .then(|| spliced(text, from..to, ""))
}

fn inserted(text: &str, list: &Node, index: usize, value: &Plain) -> Option<String> {
    let Value::List(items) = &list.value else { return None };
    let new = value.in_flow();
    if in_brackets(text, list) {
        return Some(match (items.get(index), items.last()) {
            (Some(next), _) => {
                let at = next.place.bytes.start;
                spliced(text, at..at, &format!("{new}, "))
            }
            (None, Some(last)) => {
                let at = end_of(text, last);
                spliced(text, at..at, &format!(", {new}"))
            }
            (None, None) => spliced(text, list.place.bytes.start..end_of(text, list), &format!("[{new}]")),
        });
    }
    let first = items.first()?;
    let first_line = line_start(text, first.place.bytes.start);
    let dash = text[first_line..first.place.bytes.start].find('-')?;
    let line = format!("{}- {new}", " ".repeat(dash));
    let at = match items.get(index) {
        Some(next) => line_start(text, next.place.bytes.start),
        None => line_end(text, end_of(text, items.last()?)),
    };
    Some(with_line(text, at, &line))
}

/// The items change places; what stands between them (commas, blank lines, comments set apart) stays.
fn moved(text: &str, list: &Node, from: usize, to: usize) -> Option<String> {
    let Value::List(items) = &list.value else { return None };
    let pieces: Vec<Range<usize>> = if in_brackets(text, list) {
        items.iter().map(|item| item.place.bytes.start..end_of(text, item)).collect()
    } else {
        items.iter().map(|item| lines_of(text, item)).collect::<Option<_>>()?
    };
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    let item = order.remove(from);
    order.insert(to, item);
    let mut new = text[..pieces.first()?.start].to_owned();
    for (i, taken) in order.iter().enumerate() {
        new.push_str(&text[pieces[*taken].clone()]);
        let next = pieces.get(i + 1).map_or(text.len(), |next| next.start);
        new.push_str(text.get(pieces[i].end..next)?);
    }
    Some(new)
}

/// The lines of an item of a list that is written line by line, without the last line's end: from the comments right above its dash
/// to the comments below it that stand farther in. `None` where the dash does not begin the item's own line.
fn lines_of(text: &str, item: &Node) -> Option<Range<usize>> {
    let mut start = line_start(text, item.place.bytes.start);
    let dash = text[start..item.place.bytes.start].trim_end().strip_suffix('-')?;
    if !dash.chars().all(|c| c == ' ') {
        return None;
    }
    let comment = |line: &str, farther_in: bool| {
        let bare = line.trim_start_matches(' ');
        bare.starts_with('#') && (line.len() - bare.len() > dash.len()) == farther_in
    };
    while start > 0 {
        let above = line_start(text, start - 1);
        if !comment(&text[above..start], false) {
            break;
        }
        start = above;
    }
    let mut end = line_end(text, end_of(text, item));
    while comment(&text[end..line_end(text, end)], true) {
        end = line_end(text, end);
    }
    Some(start..start + text[start..end].trim_end_matches(['\n', '\r']).len())
}

/// The text with the top-level entry in which the change lies written anew.
fn entry_anew(text: &str, tree: &Node, wanted: &Plain, edit: &Edit) -> Option<String> {
    let (Value::Map(entries), Plain::Map(new)) = (&tree.value, wanted) else { return None };
    let Step::Key(key) = path_of(edit).first()? else { return None };
    if in_brackets(text, tree) {
        return None;
    }
    let at = entries.iter().position(|(k, _)| k.spelling() == key)?;
    let from = entries[at].0.place.bytes.start;
    let end = end_of(text, &entries[at].1).max(entries[at].0.place.bytes.end);
    let to = line_end(text, end);
    let lines = new.iter().find(|(k, _)| k == key).map_or(String::new(), |(k, value)| entry(k, value));
    Some(spliced(text, from..to, &lines))
}

/// A whole file written anew.
fn written(whole: &Plain) -> String {
    match whole {
        Plain::Map(entries) => entries.iter().map(|(key, value)| entry(key, value)).collect(),
        other => format!("{}\n", other.in_flow()),
    }
}

/// A top-level entry in the layout of the demo scenes: lists of maps line by line, all else on one line.
fn entry(key: &str, value: &Plain) -> String {
    let key = key_text(key);
    match value {
        Plain::List(items) if !items.is_empty() && items.iter().all(Plain::holds_others) => {
            let item = |item: &Plain| match item {
                // `- strip: {…}`: one key and what it says.
                Plain::Map(one) if one.len() == 1 && one[0].1.holds_others() => {
                    format!("  - {}: {}\n", key_text(&one[0].0), one[0].1.in_flow())
                }
                other => format!("  - {}\n", other.in_flow()),
            };
            format!("{key}:\n{}", items.iter().map(item).collect::<String>())
        }
        other => format!("{key}: {}\n", other.in_flow()),
    }
}

#[cfg(test)]
#[path = "edit_tests.rs"]
mod tests;
