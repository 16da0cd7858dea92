//! Which motion the features leave, by the names of those that leave it, and what would settle it.

use super::super::freedom::Freedom;
use super::super::pairing::Scaling;
use super::SameFeature;
use super::look::axis;
use crate::primitive::{Kind, Vec3};

/// The free motions in words with their remedy.
pub(super) fn under_determined(
    freedom: &Freedom,
    scaling: &Scaling,
    pairs: &[&SameFeature],
) -> String {
    let (slides, turns) = freedom.slides_and_turns(scaling);
    let mut motions = freedom.describe(scaling);
    let mut remedies = Vec::new();
    if let [slide] = slides.as_slice() {
        motions[0] += &shared(pairs, slide);
        remedies.push("a plane across that direction, or a sphere or other place");
    } else if !slides.is_empty() {
        remedies.push("planes, axes or places that hold each of those directions");
    }
    if let [turn] = turns.as_slice() {
        if let Some(last) = motions.last_mut() {
            *last += &shared(pairs, &turn.axis);
        }
        remedies.push("a place or parallel axis off that line, or a direction across it");
    } else if !turns.is_empty() {
        remedies.push("two directions that are not parallel, or three places off one line");
    }
    format!(
        "under-determined, {} of 6 freedoms left by {} features: {}; missing, in both scans: {}",
        freedom.free.ncols(),
        pairs.len(),
        motions.join("; "),
        remedies.join("; ")
    )
}

/// Names of what runs in a direction: the axis, or the normal, of which features.
fn shared(pairs: &[&SameFeature], direction: &Vec3) -> String {
    let runs = |p: &&&SameFeature| p.to.direction().is_some_and(|d| d.dot(direction).abs() > ALONG);
    let words = |p: &&SameFeature| match p.to.kind() {
        Kind::Plane => format!("the normal of \"{}\"", p.name),
        _ if axis(&p.to).is_some() => format!("the axis of \"{}\"", p.name),
        _ => format!("the direction of \"{}\"", p.name),
    };
    let mut names: Vec<String> = pairs.iter().filter(runs).map(words).collect();
    names.truncate(MOST_NAMES);
    match names.is_empty() {
        true => String::new(),
        false => format!(", {}", names.join(" and ")),
    }
}

/// Cosine from which on two directions are said to be one.
const ALONG: f64 = 0.9998;
/// Names given for one direction.
const MOST_NAMES: usize = 3;
