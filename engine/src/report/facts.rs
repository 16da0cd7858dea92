//! Facts a reader checks first when a result surprises: datum system, scans and joins, part.

use crate::datum::DatumSystem;
use crate::exchange::Part;
use crate::job::Outcome;
use crate::primitive::{Point3, Pose};
use crate::register::Moved;

use super::number::{Units, fixed};
use super::table::{Table, name, plus_minus};
use super::text;

/// Datum system: what each datum took, how square the real faces are, the frame as a matrix.
pub(super) fn datum(outcome: &Outcome, units: &Units) -> String {
    let Some(datum) = &outcome.datum else {
        return "<p>The job names no datum system: machine coordinates are those of the first \
                scan.</p>\n"
            .into();
    };
    let taken: String = datum.taken.iter().map(|t| format!("<li>{}</li>", text::html(t))).collect();
    let frame = frame_uncertainty(datum, units);
    format!(
        "<ol class=\"taken\">{taken}</ol>\n{frame}{}{}{}",
        moved(outcome, units),
        squareness(datum, units),
        matrix(&outcome.machine_from_scan, units)
    )
}

/// What moved since the day of the datum system that was found again.
fn moved(outcome: &Outcome, units: &Units) -> String {
    let Some(again) = &outcome.again else { return String::new() };
    let caption = format!(
        "What moved since \"{}\"; lengths in {}, turns in {}, U expanded (k = 2); a change up to {} counts as none",
        again.job,
        units.length.symbol(),
        units.angle.symbol(),
        units.plain(again.still)
    );
    let heads =
        ["Feature", "Verdict", "#Moved by", "#Turned by", "#Size changed by", "Along", "Note"];
    let mut table = Table::new("moved", &caption, &heads);
    for c in &again.changes.features {
        if c.moved == Moved::NotSeen {
            let none = || "–".to_owned();
            table.row(&[
                name(&c.name),
                c.moved.name().into(),
                none(),
                none(),
                none(),
                none(),
                text::html(&c.note),
            ]);
            continue;
        }
        table.row(&[
            name(&c.name),
            c.moved.name().into(),
            plus_minus(&units.length(c.shift.norm(), Some(c.shift_uncertainty))),
            plus_minus(&units.angle(c.turn, Some(c.turn_uncertainty))),
            plus_minus(&units.length(c.sizes[0], Some(c.size_uncertainties[0]))),
            units.point(&Point3::from(c.shift)),
            text::html(&c.note),
        ]);
    }
    let notes: String =
        again.changes.notes.iter().map(|n| format!("<p>{}</p>\n", text::html(n))).collect();
    format!("{}{notes}", table.html())
}

/// Scans with how they were joined.
pub(super) fn scans(outcome: &Outcome, units: &Units) -> String {
    let unit = units.length.symbol();
    let caption = format!("Scans and joins; lengths in {unit}, U expanded (k = 2)");
    let heads = [
        "Name",
        "File",
        "#Points",
        "#Triangles",
        "#Noise",
        "#Spacing",
        "#Join rms",
        "#Overlap",
        "#Join U, place",
        "#Join U, turn",
        "Notes",
    ];
    let mut table = Table::new("scans", &caption, &heads);
    for s in &outcome.scans {
        let join = s.join.as_ref();
        let of = |s: Option<String>| s.map_or_else(|| "–".into(), |s| text::html(&s));
        let place = join.map(|j| 2.0 * j.covariance.deviation_at(&j.covariance.at));
        let turn = join.map(|j| 2.0 * largest_turn(&j.covariance.rotation()));
        let notes = match join {
            Some(j) => j.notes.iter().map(|n| text::html(n)).collect::<Vec<_>>().join("<br>"),
            None => "the others are joined to it".into(),
        };
        table.row(&[
            name(&s.name),
            name(&s.file),
            s.scan.points().len().to_string(),
            s.scan.triangles().len().to_string(),
            units.small(s.scan.noise()),
            units.plain(s.scan.resolution()),
            of(join.map(|j| units.small(j.rms))),
            of(join.map(|j| format!("{} %", fixed(100.0 * j.overlap, 0)))),
            of(place.and_then(|u| units.length(0.0, Some(u)).uncertainty)),
            of(turn
                .and_then(|u| units.angle(0.0, Some(u)).uncertainty)
                .map(|u| format!("{u} {}", units.angle.symbol()))),
            notes,
        ]);
    }
    table.html()
        + &join_features(outcome, units)
        + &adjustment(outcome, units)
        + &seams(outcome, units)
}

/// What each feature says of the joins by features.
fn join_features(outcome: &Outcome, units: &Units) -> String {
    let caption = format!(
        "Features joined by: how far each lies from its like after the fit; lengths in {}, angles in {}, \
         U expanded (k = 2)",
        units.length.symbol(),
        units.angle.symbol()
    );
    let heads = ["Scan", "Feature", "#Distance", "#U", "#Angle", "#U of angle", "Used"];
    let mut table = Table::new("join-features", &caption, &heads);
    let angle = |rad: f64, u: f64| {
        let stated = units.angle(rad, Some(u));
        [stated.value, stated.uncertainty.unwrap_or_else(|| "–".into())]
    };
    for s in &outcome.scans {
        for f in &s.join_features {
            let used = if f.used { "yes" } else { "left out: it disagrees with all others" };
            let [tilt, of_tilt] = angle(f.tilt, 2.0 * f.tilt_deviation);
            table.row(&[
                name(&s.name),
                name(&f.name),
                units.small(f.distance),
                units.small(2.0 * f.distance_deviation),
                tilt,
                of_tilt,
                used.into(),
            ]);
        }
    }
    table.html()
}

/// Where the scans meet in the joined one.
fn seams(outcome: &Outcome, units: &Units) -> String {
    let Some(joined) = &outcome.joined else { return String::new() };
    let caption = format!(
        "Seams of the scans as one; lengths in {}, steps positive where the second scan lies farther out, U expanded \
         (k = 2; of the largest k = 4)",
        units.length.symbol()
    );
    let heads =
        ["Scan", "To", "#Length", "#Mean step", "#Largest step", "Where", "Against the join"];
    let mut table = Table::new("seams", &caption, &heads);
    let scan = |k: usize| outcome.scans.get(k).map_or_else(String::new, |s| name(&s.name));
    for s in &joined.seams {
        table.row(&[
            scan(s.a),
            scan(s.b),
            units.plain(s.length),
            plus_minus(&units.length(s.mean, Some(s.uncertainty))),
            plus_minus(&units.length(s.largest, Some(s.largest_uncertainty))),
            units.point(&s.at),
            if s.exceeds { "more than its uncertainty" } else { "within its uncertainty" }.into(),
        ]);
    }
    table.html()
}

/// Scans adjusted together, and how the surfaces of each pair lie on each other.
fn adjustment(outcome: &Outcome, units: &Units) -> String {
    let Some(adjusted) = &outcome.adjusted else { return String::new() };
    let unit = units.length.symbol();
    let caption = format!(
        "Scans adjusted together, against the one held; lengths in {unit}, U expanded (k = 2)"
    );
    let mut table = Table::new("adjusted", &caption, &["Scan", "#U, place", "#U, turn"]);
    for (k, (s, c)) in outcome.scans.iter().zip(&adjusted.covariances).enumerate() {
        if k == adjusted.held {
            table.row(&[name(&s.name), "held".into(), "held".into()]);
            continue;
        }
        let turn = units.angle(0.0, Some(2.0 * largest_turn(&c.rotation()))).uncertainty;
        let turn = turn.map(|u| format!("{u} {}", units.angle.symbol()));
        let place = units.length(0.0, Some(2.0 * c.deviation_at(&c.at))).uncertainty;
        table.row(&[name(&s.name), place.unwrap_or_default(), turn.unwrap_or_default()]);
    }
    let caption = format!(
        "Pairs of the adjustment; lengths in {unit}; misfit: how far the pair alone would put the second scan elsewhere"
    );
    let heads = [
        "Pair",
        "#Overlap",
        "#Rms before",
        "#Rms",
        "#Mean offset",
        "#Misfit, place",
        "#Misfit, turn",
    ];
    let mut pairs = Table::new("adjusted-pairs", &caption, &heads);
    for p in &adjusted.pairs {
        let turn = units.angle(p.misfit_turn, Some(p.misfit_turn)).value;
        pairs.row(&[
            format!("{} – {}", name(&outcome.scans[p.to].name), name(&outcome.scans[p.from].name)),
            format!("{} %", fixed(100.0 * p.overlap, 0)),
            units.small(p.rms_before),
            units.small(p.rms),
            units.small(p.offset),
            units.small(p.misfit),
            format!("{turn} {}", units.angle.symbol()),
        ]);
    }
    let notes: String =
        adjusted.notes.iter().map(|n| format!("<p>{}</p>\n", text::html(n))).collect();
    table.html() + &pairs.html() + &notes
}

/// Facts of the part, and its round holes.
pub(super) fn part(outcome: &Outcome, units: &Units) -> String {
    let Some(part) = &outcome.part else {
        return "<p>The job names no part.</p>\n".into();
    };
    let unit = units.length.symbol();
    let file = part.file.file_name().map_or_else(String::new, |f| f.to_string_lossy().into_owned());
    let caption = format!("The part; lengths in {unit}");
    let mut table = Table::new("part", &caption, &["Fact", "Value"]);
    let mut fact = |what: &str, value: String| table.row(&[what.into(), value]);
    fact("File", name(&file));
    fact("Format", text::html(&part.schema));
    fact("Closed solids", part.solids.to_string());
    fact("Triangles", part.triangles.len().to_string());
    fact("Analytic faces", part.faces.iter().filter(|f| f.shape.is_some()).count().to_string());
    if let Some((low, high)) = bounds(part) {
        let size = high - low;
        let edges = [size.x, size.y, size.z].map(|v| units.plain(v)).join(" × ");
        fact("Box", format!("{} to {}", units.point(&low), units.point(&high)));
        fact("Size", edges);
    }
    let to = units.length.to_mm();
    fact("Volume", format!("{} {unit}³", fixed(part.volume() / to.powi(3), 2)));
    fact("Area", format!("{} {unit}²", fixed(part.area() / to.powi(2), 2)));
    if part.chord_error > 0.0 {
        fact("Mesh from exact faces within", units.small(part.chord_error));
    }
    for note in &part.notes {
        fact("Note", text::html(note));
    }
    table.html() + &part_holes(part, units)
}

/// Other parts with what is asked of them.
pub(super) fn other_parts(outcome: &Outcome, units: &Units) -> String {
    if outcome.other_parts.is_empty() {
        return String::new();
    }
    let unit = units.length.symbol();
    let caption = format!("Other parts, where they were designed; lengths in {unit}");
    let heads = ["No.", "Name", "File", "Format", "#Solids", "#Triangles", "Size", "Asked"];
    let mut table = Table::new("other-parts", &caption, &heads);
    for (i, o) in outcome.other_parts.iter().enumerate() {
        let file = o.part.file.file_name();
        let file = file.map_or_else(String::new, |f| f.to_string_lossy().into_owned());
        let size = bounds(&o.part).map_or_else(String::new, |(low, high)| {
            let size = high - low;
            [size.x, size.y, size.z].map(|v| units.plain(v)).join(" × ")
        });
        let clear = o.keep_clear.or(outcome.required_clearance).unwrap_or(0.0);
        let asked = if o.touches {
            "may touch, not overlap".to_owned()
        } else {
            format!("clearance {}", units.plain(clear))
        };
        table.row(&[
            format!("P{}", i + 1),
            name(&o.name),
            name(&file),
            text::html(&o.part.schema),
            o.part.solids.to_string(),
            o.part.triangles.len().to_string(),
            size,
            asked,
        ]);
    }
    table.html()
}

fn part_holes(part: &Part, units: &Units) -> String {
    let caption = format!("Round holes of the part; lengths in {}", units.length.symbol());
    let heads = ["#No.", "Middle of the axis", "Axis", "#Diameter", "#Depth"];
    let mut table = Table::new("part-holes", &caption, &heads);
    for (i, h) in part.holes.iter().enumerate() {
        table.row(&[
            (i + 1).to_string(),
            units.point(&h.point),
            h.axis.iter().map(|c| fixed(*c, 5)).collect::<Vec<_>>().join(", "),
            units.plain(2.0 * h.radius),
            units.plain(h.depth),
        ]);
    }
    table.html()
}

fn frame_uncertainty(datum: &DatumSystem, units: &Units) -> String {
    let c = &datum.covariance;
    let place = units.length(0.0, Some(2.0 * c.deviation_at(&Point3::origin()))).uncertainty;
    let turn = units.angle(0.0, Some(2.0 * largest_turn(&c.rotation()))).uncertainty;
    let (Some(place), Some(turn)) = (place, turn) else { return String::new() };
    format!(
        "<p>The frame is known within {} {} at its origin and {} {} in direction (k = 2); away \
         from the origin the second weighs with the distance.</p>\n",
        text::html(&place),
        units.length.symbol(),
        text::html(&turn),
        units.angle.symbol()
    )
}

fn squareness(datum: &DatumSystem, units: &Units) -> String {
    let caption = format!(
        "How square the real datum features are; angles in {}, ± expanded (k = 2)",
        units.angle.symbol()
    );
    let heads = ["Datum", "To", "#Angle", "#Off square or parallel by"];
    let mut table = Table::new("squareness", &caption, &heads);
    for s in &datum.squareness {
        let deviation = units.angle(s.deviation, Some(s.uncertainty));
        let angle = units.angle(s.angle, Some(s.uncertainty)).value;
        table.row(&[name(&s.a), name(&s.b), angle, plus_minus(&deviation)]);
    }
    table.html()
}

fn matrix(pose: &Pose, units: &Units) -> String {
    let caption = format!(
        "Machine from scan: takes coordinates of the first scan to the machine's ({})",
        units.length.symbol()
    );
    let heads = ["", "#scan x", "#scan y", "#scan z", "#shift"];
    let mut table = Table::new("frame", &caption, &heads);
    let m = pose.to_homogeneous();
    for (row, axis) in ["machine x", "machine y", "machine z"].into_iter().enumerate() {
        let turn = (0..3).map(|c| fixed(m[(row, c)], 7));
        let shift = fixed(m[(row, 3)] / units.length.to_mm(), 4);
        let cells: Vec<String> =
            std::iter::once(axis.to_owned()).chain(turn).chain(std::iter::once(shift)).collect();
        table.row(&cells);
    }
    table.html()
}

fn bounds(part: &Part) -> Option<(Point3, Point3)> {
    let first = part.points.first()?.coords;
    let (low, high) =
        part.points.iter().fold((first, first), |(l, h), p| (l.inf(&p.coords), h.sup(&p.coords)));
    Some((low.into(), high.into()))
}

fn largest_turn(rotation: &nalgebra::Matrix3<f64>) -> f64 {
    rotation.symmetric_eigenvalues().max().max(0.0).sqrt()
}
