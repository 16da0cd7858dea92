//! Shapes that belong together, fitted at once.

use std::sync::Arc;

use engine::associate::{MOST_MEMBERS, Member, Relation, fit_group};
use engine::primitive::Kind;

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::fit::{FitBox, fitw_constraint_cost, fitw_fit, of_cost};
use crate::fit_data::{Data, fitw_points};
use crate::fit_options::{Asked, fitw_fit_options};
use crate::handle;
use crate::kind;
use crate::pointer::{self, Array, Out, SizedOut, items};
use crate::region::{RegionBox, fitw_region};

/// Relation of a group: one axis; lines, circles, cylinders, cones, tori.
pub const FITW_GROUP_COAXIAL: i32 = 10;
/// Relation of a group: one centre; circles, spheres, tori.
pub const FITW_GROUP_CONCENTRIC: i32 = 20;
/// Relation of a group: one plane; planes.
pub const FITW_GROUP_COPLANAR: i32 = 30;
/// Relation of a group: parallel directions (of a plane its normal); all but spheres.
pub const FITW_GROUP_PARALLEL: i32 = 40;
/// Relation of a group: two directions square to each other; all but spheres.
pub const FITW_GROUP_PERPENDICULAR: i32 = 50;

/// One shape of a group, with its points: of a region or of the host, the other NULL.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_group_member {
    /// FITW_KIND_PLANE to FITW_KIND_TORUS.
    pub kind: i32,
    /// 0.
    pub reserved: i32,
    /// A region, used as by fitw_fit_region.
    pub region: *const fitw_region,
    /// Points of the host, used as by fitw_fit_points.
    pub points: *const fitw_points,
}

items! { fitw_group_member, 24 }

/// GROUP. Fits shapes that share an axis, centre, plane or direction, all at once; `relation` is
/// FITW_GROUP_…. Their points are in one frame, 2 to 64 members (FITW_GROUP_PERPENDICULAR: 2).
///
/// `stride` in bytes from member to member, 0: side by side. `options` may be NULL; a criterion, constraints,
/// a reference or options of plug-ins do not go with a group. `fits` gets `count` fits in the order of the members, each to be
/// released with fitw_fit_release: they obey the relation to rounding. `cost` (may be NULL) gets what the
/// relation cost all of them together. A member that its own points leave open is made up for by the others.
/// Errors: as fitw_fit_region, with the member's number; FITW_E_ARGUMENT for a kind that the relation does
/// not take. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_group_fit(
    context: *const fitw_context,
    members: *const fitw_group_member,
    count: usize,
    stride: usize,
    relation: i32,
    options: *const fitw_fit_options,
    fits: *mut *mut fitw_fit,
    cost: *mut fitw_constraint_cost,
) -> fitw_status {
    call(context, "fitw_group_fit", |c| {
        if count > MOST_MEMBERS {
            return Err(Fault::argument("count", count, &format!("2 to {MOST_MEMBERS}")));
        }
        let members = Array::new(members, count, stride, "members")?;
        let relation = of_relation(relation)?;
        let asked = Asked::of_builtin(c, options)?;
        if asked.request.reference_tilt.is_some() {
            return Err(Fault::argument("options.reference", "a covariance", "NULL for a group"));
        }
        Out::new(fits, "fits")?;
        let cost = if cost.is_null() { None } else { Some(SizedOut::new(cost, "cost")?) };
        c.engine.check()?;
        let mut given = Vec::new();
        for (k, member) in members.iter().enumerate() {
            given.push(Given::new(&member, &format!("members[{k}]"))?);
        }
        let (found, of_all) = c.engine.run(|| fit(given, relation, &asked))?;
        pointer::fill(fits, count, std::ptr::null_mut(), &insert_all(found)?)?;
        if let Some(cost) = cost {
            cost.set(of_all);
        }
        Ok(())
    })
}

/// A member whose points are not looked at yet.
struct Given {
    kind: Kind,
    points: Points,
}

enum Points {
    Region(Arc<RegionBox>),
    Host(Data),
}

impl Given {
    fn new(member: &fitw_group_member, name: &str) -> Result<Self, Fault> {
        let points = match (member.region.is_null(), member.points.is_null()) {
            (false, true) => Points::Region(handle::get(member.region, &format!("{name}.region"))?),
            (true, false) => Points::Host(Data::of_host(member.points, &format!("{name}.points"))?),
            (both, _) => {
                let found = if both { "neither region nor points" } else { "region and points" };
                return Err(Fault::argument(name, found, "one of the two"));
            }
        };
        Ok(Given { kind: kind::kind(member.kind, format_args!("{name}.kind"))?, points })
    }
}

fn fit(
    given: Vec<Given>,
    relation: Relation,
    asked: &Asked,
) -> Result<(Vec<FitBox>, fitw_constraint_cost), Fault> {
    let mut data = Vec::new();
    for Given { kind, points } in given {
        let points = match points {
            Points::Region(region) => Data::of_region(region),
            Points::Host(points) => points,
        };
        data.push((kind, points));
    }
    let members = data.iter().map(|(kind, data): &(Kind, Data)| (*kind, data.input(asked.noise())));
    let members: Vec<_> = members.map(|(kind, input)| Member { kind, input }).collect();
    let group = fit_group(&members, relation, &asked.request)?;
    let fits = group.members.into_iter().zip(&data).map(|(fit, (kind, data))| {
        FitBox::new(format!("builtin.{}", kind.name()), fit, data, true)
    });
    Ok((fits.collect(), of_cost(&group.cost)))
}

/// Handles for all, or none.
fn insert_all(fits: Vec<FitBox>) -> Result<Vec<*mut fitw_fit>, Fault> {
    let mut handles = Vec::new();
    for fit in fits {
        match handle::insert(fit) {
            Ok(handle) => handles.push(handle),
            Err(fault) => {
                handles.into_iter().for_each(|h| {
                    handle::release(h);
                });
                return Err(fault);
            }
        }
    }
    Ok(handles)
}

fn of_relation(number: i32) -> Result<Relation, Fault> {
    Ok(match number {
        FITW_GROUP_COAXIAL => Relation::Coaxial,
        FITW_GROUP_CONCENTRIC => Relation::Concentric,
        FITW_GROUP_COPLANAR => Relation::Coplanar,
        FITW_GROUP_PARALLEL => Relation::Parallel,
        FITW_GROUP_PERPENDICULAR => Relation::Perpendicular,
        other => return Err(Fault::argument("relation", other, "FITW_GROUP_…")),
    })
}
