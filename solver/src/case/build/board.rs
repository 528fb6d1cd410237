//! The board side: a coefficient or a contact field, and the plate that carries its force.

use super::super::codes;
use super::super::context::{Context, Located, nearest, quoted_list};
use super::super::file::{CaseFile, FileBoard};
use super::{exclusive, kelvin, metres};
use crate::library::plates;
use crate::module::{BackingPlate, BoardSide, ContactField};

pub(super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    size_m: Option<[f64; 2]>,
) -> Option<BoardSide> {
    let plate = backing_plate(context, file);
    let board = file.board.as_ref()?;
    let contacts = contacts(context, board);
    if let (Some(htc), Some(contacts)) = (&board.htc_W_m2K, &board.contacts) {
        exclusive(
            context,
            ("htc_W_m2K", htc),
            ("contacts", contacts),
            "the contacts make the coefficient of the board side",
        );
    }
    if !board.has_htc && !board.has_contacts {
        context.push(
            context
                .error(
                    codes::INCOMPLETE,
                    "the board side has no coefficient",
                    &board.span,
                    "htc_W_m2K or contacts belongs here",
                )
                .help("write htc_W_m2K = 120.0, or contacts and conductance_per_contact_W_K"),
        );
    }
    let contacts = contacts?;
    let htc_W_m2K = match (&board.htc_W_m2K, &contacts) {
        (Some(htc), _) => htc.value,
        (None, Some(field)) => {
            let [x, y] = size_m?;
            field.contacts as f64 * field.conductance_per_contact_W_K / (x * y)
        }
        (None, None) => return None,
    };
    Some(BoardSide {
        temperature_K: kelvin(board.temperature_C.as_ref()?.value),
        htc_W_m2K,
        contacts,
        backing_plate: plate?,
    })
}

/// The contact field; `Some(None)` when there is none, `None` after noting a mistake.
fn contacts(context: &Context<'_>, board: &FileBoard) -> Option<Option<ContactField>> {
    let belongs_to_contacts: [(&str, Option<&Located<f64>>); 3] = [
        ("conductance_per_contact_W_K", board.conductance_per_contact_W_K.as_ref()),
        ("force_per_contact_N", board.force_per_contact_N.as_ref()),
        ("flatness_mm", board.flatness_mm.as_ref()),
    ];
    if !board.has_contacts {
        let mut good = true;
        for (key, number) in belongs_to_contacts {
            if let Some(number) = number {
                good = false;
                context.push(
                    context
                        .error(
                            codes::INCOMPLETE,
                            format!("{key} works only with contacts"),
                            &number.span,
                            "the number of contacts is not given",
                        )
                        .help("add contacts = 3200, or what yours is, or leave this key out"),
                );
            }
        }
        return good.then_some(None);
    }
    if !board.has_conductance {
        context.push(
            context
                .error(
                    codes::INCOMPLETE,
                    "contacts need their conductance",
                    &board.contacts.as_ref().map_or(board.span.clone(), |count| count.span.clone()),
                    "conductance_per_contact_W_K belongs beside it",
                )
                .help("spring contacts have a resistance of some 200 to 1500 K/W each: write conductance_per_contact_W_K = 0.002, or what yours is"),
        );
    }
    Some(Some(ContactField {
        contacts: board.contacts.as_ref()?.value,
        conductance_per_contact_W_K: board.conductance_per_contact_W_K.as_ref()?.value,
        force_per_contact_N: board.force_per_contact_N.as_ref().map(|force| force.value),
        flatness_m: board.flatness_mm.as_ref().map(|flatness| metres(flatness.value)),
    }))
}

/// The plate; `Some(None)` when there is none, `None` after noting a mistake.
fn backing_plate(context: &Context<'_>, file: &CaseFile) -> Option<Option<BackingPlate>> {
    let Some(plate) = &file.backing_plate else { return Some(None) };
    let has_force = file.board.as_ref().is_none_or(|board| board.has_force);
    if !has_force {
        context.push(
            context
                .error(
                    codes::PLATE_WITHOUT_FORCE,
                    "the backing plate has no force to carry",
                    &plate.span,
                    "",
                )
                .help(
                    "give contacts, conductance_per_contact_W_K and force_per_contact_N in [board]",
                ),
        );
    }
    let material = plate.material.as_ref();
    let metal = material.and_then(|name| plates::by_name(&name.value));
    if let Some(name) = material
        && metal.is_none()
        && (plate.elastic_modulus_GPa.is_none() || plate.poisson.is_none())
    {
        let known = plates::ALL.iter().map(|metal| metal.name);
        let nearest = nearest(&name.value, known.clone())
            .map_or(String::new(), |near| format!("did you mean \"{near}\"? or "));
        context.push(
            context
                .error(
                    codes::PLATE_MATERIAL,
                    format!("the stiffness of \"{}\" is not known", name.value),
                    &name.span,
                    format!("known: {}", quoted_list(known)),
                )
                .help(format!("{nearest}give elastic_modulus_GPa and poisson of your own")),
        );
    }
    let modulus_Pa = plate
        .elastic_modulus_GPa
        .as_ref()
        .map(|modulus| modulus.value * 1e9)
        .or(metal.map(|metal| metal.elastic_modulus_Pa));
    let poisson =
        plate.poisson.as_ref().map(|ratio| ratio.value).or(metal.map(|metal| metal.poisson));
    let yield_Pa = plate
        .yield_MPa
        .as_ref()
        .map(|strength| strength.value * 1e6)
        .or(metal.map(|metal| metal.yield_Pa));
    if !has_force {
        return None;
    }
    Some(Some(BackingPlate {
        span_m: plate.span_mm.as_ref()?.value.map(metres),
        thickness_m: metres(plate.thickness_mm.as_ref()?.value),
        elastic_modulus_Pa: modulus_Pa?,
        poisson: poisson?,
        yield_Pa,
        material: material?.value.clone(),
        support: plate.support.as_ref()?.value,
    }))
}
