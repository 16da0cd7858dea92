//! What the part must keep clear of on its way, and when it is outside.
//!
//! At the seats contact is wanted: their surface, and what lies beside it, is moved into the machine by as
//! much as makes the seated part clear of it. The part may then slide on its seats and lift off, but nowhere
//! on its way go deeper than it sits by more than a tenth of the air.

use crate::fitcheck::borders;
use crate::fitcheck::budget::Budget;
use crate::fitcheck::insertion::InsertionLimits;
use crate::fitcheck::others::{Other, shrunk};
use crate::fitcheck::view::{Owner, View};
use crate::primitive::{Direction, Point3, Pose, Vec3, unit};
use crate::solid::Mesh;

/// The scene as obstacles on the way.
pub(super) struct Course<'a> {
    pub(super) view: &'a View<'a>,
    /// What belongs to no seat: one mesh a scan, and other parts.
    rest: Vec<Mesh>,
    /// Contact at the seats and with other parts, moved away.
    contact: Vec<Mesh>,
    /// Open borders that the seated part is clear of, as points.
    borders: Mesh,
    /// Air kept all along, mm.
    pub(super) air: f64,
    /// Air of the seated part from all but its seats, mm; infinite in an empty scene.
    pub(super) seated: f64,
    /// What the uncertainty of a distance on the way consists of.
    pub(super) budget: Budget,
    seats: Vec<Seat>,
    /// Box of all that was scanned.
    scene: Option<(Point3, Point3)>,
    /// Middle of the part's box and half its sides.
    pub(super) middle: Point3,
    half: Vec3,
}

/// A face the part rests on.
struct Seat {
    feature: usize,
    /// Sign of its distance outside of the machine.
    out: f64,
    outward: Direction,
}

/// Why no way can be looked for.
pub(super) struct Stuck {
    pub(super) seated: f64,
    pub(super) at: Option<(Point3, Point3)>,
}

impl<'a> Course<'a> {
    pub(super) fn new(view: &'a View<'a>, limits: &InsertionLimits) -> Result<Self, Stuck> {
        let taken = taken_off(view, &limits.without);
        let (low, high) = view.part.bounding_box().unwrap_or((Point3::origin(), Point3::origin()));
        let middle = nalgebra::center(&low, &high);
        let mut course = Course {
            view,
            rest: Vec::new(),
            contact: Vec::new(),
            borders: Mesh::new(Vec::new(), Vec::new()),
            air: 0.0,
            seated: f64::INFINITY,
            budget: budget(view, &middle),
            seats: seats(view),
            scene: scene_box(view),
            middle,
            half: 0.5 * (high - low),
        };
        course.clear_of_rest(&taken)?;
        course.clear_of_others(&limits.without_others)?;
        let wanted = limits.clearance + course.budget.expanded() + ROUNDING;
        course.air = wanted.min(SHARE * course.seated);
        course.contact =
            (0..view.scans.len()).filter_map(|s| course.contact_of(s, &taken[s])).collect();
        let touched = (0..view.others.len()).filter(|o| !limits.without_others.contains(o));
        let touched = touched.filter(|&o| view.others[o].given.touches);
        let freed: Vec<Mesh> = touched.filter_map(|o| course.freed(o)).collect();
        course.contact.extend(freed);
        course.borders = course.open_borders(&taken);
        Ok(course)
    }

    /// Least distance of the moved part from everything, below `reach`.
    pub(super) fn distance(&self, pose: &Pose, reach: f64) -> Option<f64> {
        self.rest.iter().chain(&self.contact).fold(None, |best: Option<f64>, mesh| {
            let reach = best.unwrap_or(reach);
            let near = self.view.solid.least_distance_at(pose, mesh, reach);
            near.map(|w| w.distance).or(best)
        })
    }

    /// Whether the part keeps the air of the course all along a straight way from a place that keeps it.
    pub(super) fn is_free(&self, pose: &Pose, way: &Vec3) -> bool {
        !self.contact.iter().any(|mesh| self.view.solid.meets_on(pose, way, self.air, mesh))
            && self.keeps(pose, way, self.air)
    }

    /// Whether the part keeps an air from all but its seats.
    pub(super) fn keeps(&self, pose: &Pose, way: &Vec3, air: f64) -> bool {
        !self.rest.iter().any(|mesh| self.view.solid.meets_on(pose, way, air, mesh))
    }

    /// Away from each seat.
    pub(super) fn outward(&self) -> impl Iterator<Item = Direction> + '_ {
        self.seats.iter().map(|s| s.outward)
    }

    /// Whether a straight way stays clear of surface that may go on unseen beyond open borders.
    pub(super) fn is_seen(&self, pose: &Pose, way: &Vec3) -> bool {
        !self.view.solid.meets_on(pose, way, self.view.limits.unseen_reach, &self.borders)
    }

    /// Straight way along a direction until the part's box is outside of the scene's by the air.
    pub(super) fn way_out(&self, pose: &Pose, along: &Direction) -> Vec3 {
        let Some((low, high)) = self.scene else { return Vec3::zeros() };
        let spread = pose.rotation.to_rotation_matrix().into_inner().abs();
        let (middle, half) = (pose * self.middle, spread * self.half);
        let needed = |k: usize| {
            let d = along[k];
            let to = if d > 0.0 {
                high[k] - (middle[k] - half[k])
            } else {
                middle[k] + half[k] - low[k]
            };
            if d == 0.0 { f64::INFINITY } else { (to + self.air + OUTSIDE) / d.abs() }
        };
        let length = (0..3).map(needed).fold(f64::INFINITY, f64::min).max(0.0);
        along.into_inner() * length
    }

    /// Farthest distance of the part from an axis through a point, at its seat, mm.
    pub(super) fn radius_about(&self, centre: &Point3, axis: &Direction) -> f64 {
        let off = |p: &Point3| (p - centre).cross(axis).norm_squared();
        self.view.part.points.iter().map(off).fold(0.0, f64::max).sqrt()
    }

    /// Size of the scene and the part, mm: no single move needs to be longer.
    pub(super) fn size(&self) -> f64 {
        let scene = self.scene.map_or(0.0, |(l, h)| (h - l).norm());
        scene + 2.0 * self.half.norm()
    }

    /// Sets `seated`; the part must not touch or hold anything but its seats.
    fn clear_of_rest(&mut self, taken: &[Vec<bool>]) -> Result<(), Stuck> {
        let view = self.view;
        for (s, taken) in taken.iter().enumerate() {
            let rest = Mesh::new(view.scans[s].points.clone(), triangles(view, s, taken, false));
            let near = view.solid.least_distance(&rest, self.seated);
            self.rest.push(rest);
            let Some(w) = near else { continue };
            self.seated = w.distance;
            if w.distance <= TOUCHING {
                return Err(Stuck { seated: w.distance, at: Some((w.on_a, w.on_b)) });
            }
            let scan = &view.scans[s];
            let inside = scan.near.iter().find(|(i, hit)| {
                hit.distance < 0.0 && !is_contact(scan.owner[*i as usize]) && !taken[*i as usize]
            });
            if let Some((i, hit)) = inside {
                let at = Some((hit.point, scan.points[*i as usize]));
                return Err(Stuck { seated: hit.distance, at });
            }
        }
        Ok(())
    }

    /// As [`Course::clear_of_rest`], of other parts that are not meant to touch.
    fn clear_of_others(&mut self, without: &[usize]) -> Result<(), Stuck> {
        let view = self.view;
        for (o, other) in view.others.iter().enumerate() {
            if other.given.touches || without.contains(&o) {
                continue;
            }
            let mesh = Mesh::new(other.given.part.points.clone(), other.mesh.triangles().to_vec());
            let near = view.solid.least_distance(&mesh, f64::INFINITY);
            self.rest.push(mesh);
            let Some(w) = near else { continue };
            self.seated = self.seated.min(w.distance);
            let held = view.solid.contains(&w.on_b) || other.solid.contains(&w.on_a);
            if w.distance <= TOUCHING || held {
                return Err(Stuck { seated: w.distance, at: Some((w.on_a, w.on_b)) });
            }
        }
        Ok(())
    }

    /// Another part that is meant to touch, taken inward until the seated part is clear of it; none if that does
    /// not help: what the part reaches round is nothing to slide from.
    fn freed(&self, o: usize) -> Option<Mesh> {
        let clear = CLEAR_OF_SEAT * self.air;
        let mut by = clear;
        for _ in 0..SHIFTS {
            let mesh = shrunk(self.view.others[o].given.part, by);
            match self.view.solid.least_distance(&mesh, ENOUGH * clear) {
                None => return Some(mesh),
                Some(left) => by += (clear - left.distance).max(0.1 * by),
            }
        }
        None
    }

    /// The contact of a scan at the seats, moved away; none if it has none, or if no move clears it: what the
    /// part reaches round is no seat to slide from.
    fn contact_of(&self, s: usize, taken: &[bool]) -> Option<Mesh> {
        let points = &self.view.scans[s].points;
        let contact = triangles(self.view, s, taken, true);
        let normals: Vec<Vec3> = contact.iter().map(|t| self.seat_normal(s, *t)).collect();
        let clear = CLEAR_OF_SEAT * self.air;
        let mut by = clear;
        for _ in 0..SHIFTS {
            let moved = |(t, n): (&[u32; 3], &Vec3)| t.map(|i| points[i as usize] - n * by);
            let soup: Vec<Point3> = contact.iter().zip(&normals).flat_map(moved).collect();
            let own = (0..contact.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
            let seats = Mesh::new(soup, own);
            match self.view.solid.least_distance(&seats, ENOUGH * clear) {
                None => return (!contact.is_empty()).then_some(seats),
                Some(left) => by += (clear - left.distance).max(0.1 * by),
            }
        }
        None
    }

    /// Out of the machine at a triangle of the contact: of its seat, else of the nearest.
    fn seat_normal(&self, s: usize, triangle: [u32; 3]) -> Vec3 {
        let scan = &self.view.scans[s];
        let at = scan.points[triangle[0] as usize];
        let shape = |seat: &Seat| &self.view.scene.features[seat.feature].feature.shape;
        let of = |i: u32| {
            self.seats
                .iter()
                .find(|seat| scan.owner[i as usize] == Owner::Seat(seat.feature as u32))
        };
        let far = |seat: &&Seat| (shape(seat).point() - at).norm();
        let nearest = || self.seats.iter().min_by(|a, b| far(a).total_cmp(&far(b)));
        let Some(seat) = triangle.iter().find_map(|&i| of(i)).or_else(nearest) else {
            return Vec3::z();
        };
        shape(seat).normal_at(&at).map_or(seat.outward.into_inner(), |n| n.into_inner() * seat.out)
    }

    /// Borders farther from the seated part than surface may go on unseen: the near ones are for the
    /// clearance to judge. Those of what is taken off go with it.
    fn open_borders(&self, taken: &[Vec<bool>]) -> Mesh {
        let place = |(s, i): (usize, u32)| self.view.scans[s].points[i as usize];
        let stays = |(s, i): &(usize, u32)| !taken[*s][*i as usize];
        let open = borders::open(self.view).into_iter().filter(stays);
        let all: Vec<Point3> = open.map(place).collect();
        let reach = self.view.limits.unseen_reach;
        let near = self.view.solid.signed_all(&all, reach);
        let kept = all.into_iter().zip(near).filter(|(_, hit)| hit.is_none()).map(|(p, _)| p);
        let points: Vec<Point3> = kept.collect();
        let own = (0..points.len() as u32).map(|i| [i; 3]).collect();
        Mesh::new(points, own)
    }
}

fn is_contact(owner: Owner) -> bool {
    matches!(owner, Owner::Seat(_) | Owner::Beside)
}

/// Triangles (points of a cloud) of a scan but what is taken off: those with a corner in contact, or the others.
fn triangles(view: &View<'_>, s: usize, taken: &[bool], contact: bool) -> Vec<[u32; 3]> {
    let owner = &view.scans[s].owner;
    let chosen = |t: &[u32; 3]| {
        let touches = t.iter().any(|&i| is_contact(owner[i as usize]));
        touches == contact && !t.iter().any(|&i| taken[i as usize])
    };
    let mut all = view.surface(s);
    all.retain(chosen);
    all
}

/// By scan, the points that belong to what is taken off.
fn taken_off(view: &View<'_>, without: &[usize]) -> Vec<Vec<bool>> {
    let mut taken: Vec<Vec<bool>> =
        view.scans.iter().map(|s| vec![false; s.points.len()]).collect();
    for &f in without {
        for (s, taken) in taken.iter_mut().enumerate() {
            for i in view.all_of(f, s) {
                taken[i as usize] = true;
            }
        }
    }
    taken
}

/// Distances on the way move with the machine's frame, the scans' joins and noise; the worst scan's, or the chords of
/// the worst other part.
fn budget(view: &View<'_>, at: &Point3) -> Budget {
    let chords = |o: &Other<'_>| {
        let mut budget = Budget::default();
        budget.add("part mesh", view.part.chord_error / 3f64.sqrt());
        budget.add("other part's mesh", o.given.part.chord_error / 3f64.sqrt());
        budget
    };
    let of = |s: usize| {
        let mut budget = Budget::of_place(view.scene, Some(s), view.part.chord_error, at, None);
        budget.add("scan noise", view.scans[s].noise);
        budget
    };
    let all = (0..view.scans.len()).map(of).chain(view.others.iter().map(chords));
    all.max_by(|a, b| a.expanded().total_cmp(&b.expanded())).unwrap_or_default()
}

fn seats(view: &View<'_>) -> Vec<Seat> {
    let of = |f: usize| {
        let feature = &view.scene.features[f];
        let at = view.scans[feature.scan?].points[*feature.surface.first()? as usize];
        let normal = feature.feature.shape.normal_at(&at)?;
        let out = view.outward(f)?;
        Some(Seat { feature: f, out, outward: unit(normal.into_inner() * out)? })
    };
    let touched = |f: &usize| view.scans.iter().any(|s| s.owner.contains(&Owner::Seat(*f as u32)));
    (0..view.scene.features.len()).filter(touched).filter_map(of).collect()
}

fn scene_box(view: &View<'_>) -> Option<(Point3, Point3)> {
    let all = view.scans.iter().flat_map(|s| &s.points);
    let all = all.chain(view.others.iter().flat_map(|o| &o.given.part.points));
    all.map(|p| (*p, *p)).reduce(|(l, h), (p, _)| (l.inf(&p), h.sup(&p)))
}

/// Air on the way over that of the seated part, where that is less than asked.
const SHARE: f64 = 0.8;
/// Distance up to which the seated part touches something, mm.
const TOUCHING: f64 = 0.01;
/// Distance of the seated part from the moved contact, in the air kept.
const CLEAR_OF_SEAT: f64 = 1.1;
/// Share of that which is enough: rounding does not matter.
const ENOUGH: f64 = 0.99;
const SHIFTS: usize = 8;
/// Further out than the scene's box, mm, so that rounding does not matter.
const OUTSIDE: f64 = 0.1;
/// So that what keeps the air asked for passes, mm.
const ROUNDING: f64 = 1e-9;
