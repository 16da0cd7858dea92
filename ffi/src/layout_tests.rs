//! The layout of every public struct against the committed description, `include/fitwright.abi.txt`.

use std::collections::BTreeMap;
use std::mem::offset_of;

/// Offsets and sizes as the compiler of the library has them: struct, field, offset, size of the struct.
macro_rules! layouts {
    ($($path:path { $($field:ident),* $(,)? })*) => {
        vec![$((
            stringify!($path).rsplit("::").next().unwrap_or_default().trim(),
            size_of::<$path>(),
            vec![$((stringify!($field), offset_of!($path, $field))),*],
        )),*]
    };
}

#[test]
fn structs_lie_as_the_description_says() {
    let ours = layouts! {
        crate::text::fitw_str { ptr, len }
        crate::shape::fitw_pose { rotation, translation_mm }
        crate::shape::fitw_shape { struct_size, kind, point_mm, direction, size_1, size_2 }
        crate::context::fitw_context_options {
            struct_size, flags, threads, reserved, memory_limit, progress, progress_user, log, log_user
        }
        crate::mesh::fitw_mesh {
            struct_size, flags, points, point_count, point_stride, normals, normal_stride, triangles,
            triangle_count, triangle_stride, point_scalar, normal_scalar, unit, reserved, release,
            release_user
        }
        crate::scan::fitw_scan_options { struct_size, flags, max_points, max_triangles }
        crate::scan::fitw_scan_info { struct_size, borrows, point_count, triangle_count, note_count }
        crate::region::fitw_grow_options {
            struct_size, flags, distance_mm, angle_rad, pick_distance_mm, trim_mm
        }
        crate::fit_options::fitw_constraint { kind, reserved, value, vector }
        crate::fit_options::fitw_option_value { name, value }
        crate::fit_options::fitw_fit_options {
            struct_size, flags, criterion, reserved, constraints, constraint_count, constraint_stride,
            noise, reference, options, option_count, option_stride
        }
        crate::fit_data::fitw_points {
            struct_size, scalar, points, count, point_stride, normals, normal_stride, pick_mm, noise_mm,
            resolution_mm
        }
        crate::fit::fitw_fitter_info { struct_size, kind, minimum_points, id, title }
        crate::fit::fitw_option_info {
            struct_size, sort, quantity, reserved, name, description, standard, least, most
        }
        crate::fit::fitw_constraint_cost {
            struct_size, freedoms, free_sigma_mm, sigma_mm, probability
        }
        crate::uncertainty::fitw_parameter {
            struct_size, value_kind, quantity, reserved, name, value
        }
        crate::uncertainty::fitw_quality {
            struct_size, converged, points, rejected, iterations, rms_mm, largest_mm, zone_mm, sigma_mm,
            extent_mm, arc_rad, condition, criterion, reserved, contact_count, evidence_count,
            independent_mm, smooth_mm, smooth_length_mm, effective_points
        }
        crate::uncertainty::fitw_evidence {
            struct_size, reserved, against, amplitude_mm, uncertainty_mm, probability
        }
        crate::group::fitw_group_member { kind, reserved, region, points }
        crate::mesh_out::fitw_body {
            scan, part, feature, name, pose, colour, has_colour, chord_error_mm
        }
        crate::length_error::fitw_length_error { fixed_mm, per_length }
        crate::uncertainty::fitw_covariance { struct_size, reserved, about_mm, matrix }
        crate::uncertainty::fitw_uncertainty {
            struct_size, reserved, position_mm, tilt_rad, size_1, size_2
        }
        crate::feature::fitw_feature_info {
            struct_size, kind, name, fitter, piece_count, parameter_count, note_count
        }
        crate::feature::fitw_hole_search {
            struct_size, flags, name, face, face_region, pick_mm, largest_radius_mm
        }
        crate::feature::fitw_relation {
            struct_size, reserved, angle_rad, angle_uncertainty_rad, distance_mm,
            distance_uncertainty_mm, measure
        }
        crate::piece::fitw_piece {
            struct_size, extent, kind, loop_count, point_mm, direction, size_1, size_2, zero, pole,
            u_from, u_to, v_from, v_to
        }
        crate::datum::fitw_datum_feature { feature, axis, sets }
        crate::datum::fitw_datum_info { struct_size, reserved, squareness_count, taken_count }
        crate::datum::fitw_squareness {
            struct_size, reserved, a, b, angle_rad, deviation_rad, uncertainty_rad
        }
        crate::join::fitw_join_options {
            struct_size, flags, tolerance_mm, least_deviation_mm, reach_mm, normal_angle_rad,
            least_overlap, iterations, candidates, loosest_mm
        }
        crate::join::fitw_same_feature { to, from, directed, reserved }
        crate::join::fitw_feature_residual {
            struct_size, used, name, distance_mm, distance_uncertainty_mm, tilt_rad,
            tilt_uncertainty_rad, square, equation_count
        }
        crate::join::fitw_join_info {
            struct_size, converged, rms_mm, overlap, pair_count, note_count, candidate_count,
            feature_count, freedom_count, chi_square, probability
        }
        crate::join::fitw_target_pair { struct_size, reserved, to, from, residual_mm, leverage }
        crate::adjustment::fitw_started_scan { scan, common_from_scan }
        crate::adjustment::fitw_observed_join { join, to, from }
        crate::adjustment::fitw_scan_pair { to, from }
        crate::adjustment::fitw_adjust_options {
            struct_size, flags, reach_mm, normal_angle_rad, least_overlap, iterations, pairs,
            pair_count, observed, observed_count, held
        }
        crate::adjustment::fitw_adjustment_info {
            struct_size, converged, scan_count, pair_count, note_count
        }
        crate::adjustment::fitw_adjusted_pair {
            struct_size, reserved, to, from, point_count, overlap, rms_before_mm, rms_mm, offset_mm,
            misfit_mm, misfit_rad
        }
        crate::saved_datum::fitw_saved_datum_info {
            struct_size, reserved, job, feature_count, machine_from_scan
        }
        crate::saved_datum::fitw_saved_feature { struct_size, kind, name, middle_mm, extent_mm }
        crate::saved_datum::fitw_again_options {
            struct_size, flags, start, reach_mm, tolerance_mm
        }
        crate::saved_datum::fitw_found_again {
            struct_size, reserved, machine_from_scan, matched_count, deviation
        }
        crate::saved_datum::fitw_changes_info {
            struct_size, reserved, feature_count, stand_out_count, note_count, freedom_count, square,
            probability, still_from_machine
        }
        crate::saved_datum::fitw_change {
            struct_size, moved, name, note, shift_mm, shift_uncertainty_mm, turn_rad,
            turn_uncertainty_rad, size_1, size_2, size_1_uncertainty, size_2_uncertainty, extent_mm
        }
        crate::merged::fitw_placed_scan { scan, all_from_this, join }
        crate::merged::fitw_merge_options { struct_size, flags, reach_mm, margin }
        crate::merged::fitw_merged_info {
            struct_size, reserved, point_count, triangle_count, seam_count
        }
        crate::merged::fitw_seam {
            struct_size, exceeds, a, b, length_mm, mean_mm, uncertainty_mm, largest_mm,
            largest_uncertainty_mm, at_mm
        }
        crate::join::fitw_candidate_pose {
            struct_size, reserved, to_from_this, probability, evidence, matched, against
        }
        crate::step::fitw_step_options {
            struct_size, flags, schema, reserved, title, date, scan_date, precision_mm, axis_length_mm
        }
        crate::part::fitw_part_options { struct_size, flags, unit, reserved, chord_error_mm, reader }
        crate::part::fitw_part_info {
            struct_size, closed, solid_count, point_count, triangle_count, face_count, hole_count,
            note_count, volume_mm3, area_mm2, low_mm, high_mm, chord_error_mm, schema
        }
        crate::part::fitw_part_hole_info {
            struct_size, reserved, point_mm, axis, radius_mm, depth_mm
        }
        crate::check::fitw_scene_scan { scan, name, machine_from_scan, join }
        crate::check::fitw_scene_feature {
            feature, surface, scan, is_seat, keep_clear_mm, bolt
        }
        crate::check::fitw_mount { hole, seat, near_mm }
        crate::check::fitw_other_part { part, name, keep_clear_mm, touches, reserved }
        crate::motion::fitw_scene_move { kind, feature, point_mm, direction, from, to }
        crate::motion::fitw_scene_motion {
            name, moving, place, low_mm, high_mm, clearance_mm, moves, move_count, move_stride
        }
        crate::motion::fitw_warming {
            expansion, expansion_within, from_celsius, to_celsius, to_within
        }
        crate::motion::fitw_temperature { struct_size, flags, machine, part, fixed_mm }
        crate::check::fitw_scene {
            struct_size, flags, part, scans, scan_count, scan_stride, features, feature_count,
            feature_stride, mounts, mount_count, mount_stride, datum, clearance_mm, seat_tolerance_mm,
            unseen_reach_mm, length_errors, length_error_stride, tools, insertion,
            motions, motion_count, motion_stride, temperature, other_parts, other_part_count,
            other_part_stride
        }
        crate::finding::fitw_finding {
            struct_size, kind, verdict, reserved, value_mm, uncertainty_mm, limit_mm, at_mm, to_mm,
            extent_mm, points, kind_name, name, detail, remedy, measure, reserved_2, number_count,
            share_count
        }
        crate::finding::fitw_finding_number { struct_size, measure, value, name }
        crate::finding::fitw_finding_share { struct_size, measure, deviation, cause }
        crate::access::fitw_tool_limits {
            struct_size, flags, air_mm, extension_mm, socket_diameter_mm, socket_length_mm, swing_rad,
            bolt_length_mm, bolt_lengths_mm
        }
        crate::access::fitw_insertion_limits {
            struct_size, flags, clearance_mm, directions, tries, seed, without, without_count,
            without_parts, without_part_count
        }
        crate::made::fitw_made { struct_size, laid_on, scan, start, tolerance_mm }
        crate::survey::fitw_survey_options { struct_size, flags, smallest_mm }
        crate::survey::fitw_survey_info {
            struct_size, reserved, primitive_count, hole_count, tube_count, group_count,
            unclaimed_count
        }
        crate::survey::fitw_surveyed {
            struct_size, kind, side, reserved, id, point_count, neighbour_count, area_mm2, at_mm,
            point_mm, direction, size_1, size_2, position_uncertainty_mm, tilt_uncertainty_rad,
            size_1_uncertainty, size_2_uncertainty
        }
        crate::survey_found::fitw_surveyed_hole {
            struct_size, wall, face, other_end, through, reserved, point_mm, axis, radius_mm,
            depth_mm
        }
        crate::survey_found::fitw_proposed_datum {
            struct_size, primary, secondary, tertiary, hole, reserved
        }
        crate::table::fitw_column { struct_size, quantity, name }
        crate::plugin::fitw_plugin_options {
            struct_size, trust, worker, time_limit_s, memory_limit_bytes
        }
        crate::plugin::fitw_plugin_info {
            struct_size, trusted, id, title, version, licence, folder, fitter_count
        }
        crate::plugin::fitw_refusal { struct_size, status, folder, reason }
        crate::plugin::fitw_importer_info { struct_size, reserved, id, title, extensions }
        crate::job::fitw_outcome_info {
            struct_size, verdict, scan_count, feature_count, finding_count, machine_from_scan
        }
    };
    let described = described();
    assert_eq!(ours.len(), described.len(), "a struct is missing here");
    for (name, size, fields) in ours {
        let (described_size, described_fields) = &described[name];
        assert_eq!(size, *described_size, "{name}");
        let fields: Vec<(String, usize)> =
            fields.into_iter().map(|(f, at)| (f.to_owned(), at)).collect();
        assert_eq!(&fields, described_fields, "{name}");
    }
}

type Layout = (usize, Vec<(String, usize)>);

/// Size and fields with their offsets of each struct, by name.
fn described() -> BTreeMap<String, Layout> {
    let text = include_str!("../../include/fitwright.abi.txt");
    let mut all: BTreeMap<String, Layout> = BTreeMap::new();
    let mut last = String::new();
    for line in text.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["struct", name, "size", size, ..] => {
                last = name.to_owned();
                all.insert(last.clone(), (size.parse().expect("a size"), Vec::new()));
            }
            [offset, _, name, ":", ..] if line.starts_with(' ') => {
                let fields = &mut all.get_mut(&last).expect("a struct before its fields").1;
                fields.push((name.to_owned(), offset.parse().expect("an offset")));
            }
            _ => {}
        }
    }
    all
}
