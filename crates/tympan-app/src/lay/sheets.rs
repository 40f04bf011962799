//! From a plan to the pages that are written, with the set-up's correction in them.

use tympan_layout::cut_lines::CutLines;
use tympan_layout::{CutMarks, MarkItems, Placed, Plan};
use tympan_pdf::Duplex;
use tympan_pdf::impose::{
    ArtId, Bleed, BleedBy as MadeBy, Boxes, Edges, Fit as Fitted, ImposeJob, Overlay, Placement,
    SheetPage,
};
use tympan_register::{Sides, correction_of_placements};
use tympan_sheet::drawing::Item;
use tympan_sheet::{
    Affine, Back, BindingEdge, Frame, Front, Page, Point, Rect, Shape, Side, Size, Vector,
};
use tympan_store::Store;

use super::Request;
use super::job::{BleedBy, CutBy, Fit, Job, Marks, SeenOnSheet};
use super::planned::Planned;
use super::witness::{self, Witness};
use crate::pages::Role;
use crate::plan::{self, Cause, Laying, PageIn, Place, as_page};
use crate::refusal::Refusal;

/// Everything that is written for one of the plans; where `only` says which, only that sheet (from
/// 0), and without the witness marks that belong to a whole run.
pub(super) fn job(
    planned: &Planned,
    chosen: usize,
    request: &Request,
    only: Option<usize>,
    mut store: Option<&mut Store>,
) -> Result<ImposeJob, Refusal> {
    let (plan, _) = &planned.plans[chosen];
    let size = planned.paper.size();
    let [of_fronts, correction] = corrections(&request.job, planned, plan, size)?;
    let two_sided = plan.is_two_sided();
    let mut sheets = plan.sides();
    let mut pages = Vec::new();
    for (number, group) in plan.groups.iter().enumerate() {
        let mut marks = marks(&request.job, plan, number);
        if prints_crosses(&request.job, plan) && request.cuts.is_some() {
            let lines = plan.cut_lines(number);
            marks.front.extend(lines.iter().flat_map(CutLines::printed));
        }
        let witness = match (request.job.witness, &planned.setup, store.as_deref_mut()) {
            (false, ..) => None,
            _ if only.is_some() => None,
            (true, Some((setup, _)), Some(store)) if two_sided => {
                let name = request
                    .output
                    .file_stem()
                    .unwrap_or_default()
                    .to_string_lossy();
                let of = (plan, number);
                Some(witness::of_group(
                    store,
                    setup,
                    of,
                    &marks,
                    &[of_fronts, correction],
                    &name,
                )?)
            }
            (true, ..) => {
                return Err(Refusal::new(
                    "witness marks tell how a set-up's backs lie, and there is no set-up or there \
                     are no backs",
                    "name the set-up with --setup, or leave --witness out",
                ));
            }
        };
        let witnessed = |side, sheet: usize| {
            let items = |w: &Witness| w.items(side, sheet as u32);
            witness.as_ref().map(items).unwrap_or_default()
        };
        for sheet in sheets.by_ref().take(group.sheets.len()) {
            if only.is_some_and(|only| only + 1 != sheet.number) {
                continue;
            }
            let mut page = side(&request.job, &sheet.front, size, &of_fronts);
            let mut items = marks.front.clone();
            items.extend(witnessed(Side::Front, sheet.number));
            page.over = moved(items, of_fronts);
            pages.push(page);
            if two_sided {
                let mut page = side(&request.job, &sheet.back, size, &correction);
                let mut items = marks.back.clone();
                items.extend(witnessed(Side::Back, sheet.number));
                page.over = moved(items, correction);
                pages.push(page);
            }
        }
    }
    Ok(ImposeJob {
        output: request.output.clone(),
        title: title(planned),
        duplex: Some(if two_sided {
            match planned.flip.edge(size) {
                BindingEdge::Long => Duplex::LongEdge,
                BindingEdge::Short => Duplex::ShortEdge,
            }
        } else {
            Duplex::Simplex
        }),
        arts: planned.found.arts.clone(),
        pages,
        corrected: correction != Affine::IDENTITY,
    })
}

/// Whether alignment crosses are printed where cut lines are written.
pub(super) fn prints_crosses(job: &Job, plan: &Plan) -> bool {
    let around = job.cut.unwrap_or_default() == CutBy::Around;
    (job.crosses || around) && !plan.pre_cut
}

/// Puts the plans with room for witness marks on all their sheets first, and notes which they are.
pub(super) fn room_for_witness_first(job: &Job, planned: &mut Planned) -> Result<(), Refusal> {
    let size = planned.paper.size();
    let mut all = Vec::new();
    for (plan, gutter) in &planned.plans {
        let moved = corrections(job, planned, plan, size)?;
        let has_room = plan.is_two_sided()
            && (0..plan.groups.len()).all(|number| {
                let marks = marks(job, plan, number);
                witness::geometry(plan, number, &marks, &moved).is_ok()
            });
        all.push((plan.clone(), *gutter, has_room));
    }
    all.sort_by_key(|(.., has_room)| !has_room);
    planned.witness_room = all.iter().map(|(.., has_room)| *has_room).collect();
    planned.plans = all
        .into_iter()
        .map(|(plan, gutter, _)| (plan, gutter))
        .collect();
    Ok(())
}

/// Marks go with what is printed beside them.
fn moved(items: Vec<Item>, map: Affine<Page>) -> Vec<Item> {
    if map == Affine::IDENTITY {
        return items;
    }
    vec![Item::Group {
        map,
        clip: None,
        items,
    }]
}

fn title(planned: &Planned) -> String {
    let first = planned.found.cards.first().map(|card| card.name.as_str());
    format!("Sheets of cards: {} and others", first.unwrap_or_default())
}

/// What the front pages and the back pages go through. Where it is known how the print of each side
/// lies on the sheet, both are put right against its edges; else the backs come to the fronts.
fn corrections(
    job: &Job,
    planned: &Planned,
    plan: &Plan,
    size: Size,
) -> Result<[Affine<Page>; 2], Refusal> {
    if job.fronts_seen.is_none() && job.backs_seen.is_none() {
        return Ok([Affine::IDENTITY, correction(planned, plan, size)?]);
    }
    // The words are those for backs: they say where print lies as one looks at it.
    let seen = |seen: Option<SeenOnSheet>| {
        let map = seen.map_or(Affine::IDENTITY, |seen| seen.0.map(size));
        Affine::<Page>::new(map.xx, map.xy, map.yx, map.yy, map.dx, map.dy)
    };
    let like = |m: Affine<Page>| Affine::<Front>::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy);
    let front = like(seen(job.fronts_seen));
    let back = match (job.backs_seen, planned.learnt()) {
        (Some(_), _) => {
            let m = seen(job.backs_seen);
            Affine::<Back>::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy)
        }
        // The set-up tells where the backs lie of the fronts.
        (None, Some((_, learnt))) => {
            let on_front = learnt.fit.field().then(&front);
            planned.flip.carry_to_back(&on_front, size)
        }
        (None, None) => planned.flip.carry_to_back(&front, size),
    };
    let both = correction_of_placements(&front, &back, planned.flip, size, Sides::Both)
        .map_err(|e| Refusal::from(plan::PlanError::from(e)))?;
    Ok([as_page(&both.fronts), as_page(&both.backs)])
}

/// What the back pages go through.
fn correction(planned: &Planned, plan: &Plan, size: Size) -> Result<Affine<Page>, Refusal> {
    let Some((setup, learnt)) = planned.learnt() else {
        return Ok(Affine::IDENTITY);
    };
    if !plan.is_two_sided() {
        return Ok(Affine::IDENTITY);
    }
    let cause = Cause::SetUp {
        field: learnt.fit.field(),
        sheet: setup.paper.size(),
        flip: setup.flip,
    };
    let page = |role| PageIn {
        size,
        role,
        marks_centre: None,
    };
    let pages = [
        page(Role::Front { back: Some(1) }),
        page(Role::Back { front: Some(0) }),
    ];
    let laying = Laying {
        page_flip: Some(setup.flip),
        paper: None,
        place: Place::Centre,
        driver_turns: None,
    };
    Ok(plan::plan(&pages, &cause, Sides::Backs, &laying)?[1].map)
}

/// One side of a sheet without its marks.
fn side<F: Frame>(
    job: &Job,
    placed: &[Placed<F>],
    size: Size,
    correction: &Affine<Page>,
) -> SheetPage {
    let place = |placed: &Placed<F>| placements(job, placed, correction);
    SheetPage {
        boxes: boxes(placed, correction),
        placements: placed.iter().flat_map(place).collect(),
        ..SheetPage::new(size)
    }
}

fn marks(job: &Job, plan: &Plan, group: usize) -> MarkItems {
    let cuts = match job.marks.unwrap_or_default() {
        // There is nothing to cut.
        _ if plan.pre_cut => CutMarks::None,
        Marks::Corners => CutMarks::Trim,
        Marks::Edges => CutMarks::Ticks,
        Marks::Lines => CutMarks::Lines,
        Marks::None => CutMarks::None,
    };
    let asked = tympan_layout::Marks {
        cuts,
        on_backs: job.marks_on_backs,
        corners: job.round_corners,
    };
    plan.marks(group, &asked)
}

/// A card's side; where its bleed is that of an enlarged one, with that behind it.
fn placements<F: Frame>(
    job: &Job,
    placed: &Placed<F>,
    correction: &Affine<Page>,
) -> Vec<Placement> {
    let below = placement(job, placed, correction);
    if job.bleed_by != Some(BleedBy::Outwards) {
        return vec![below];
    }
    let above = Placement {
        bleed: Bleed::default(),
        ..below.clone()
    };
    vec![below, above]
}

fn placement<F: Frame>(job: &Job, placed: &Placed<F>, correction: &Affine<Page>) -> Placement {
    let map = as_page(&placed.map);
    let by = match job.bleed_by.unwrap_or_default() {
        BleedBy::Keep => MadeBy::Keep,
        BleedBy::Mirror => MadeBy::Mirror,
        BleedBy::Stretch => MadeBy::Stretch,
        BleedBy::Colour => MadeBy::Colour(None),
        BleedBy::Enlarge | BleedBy::Outwards => MadeBy::Enlarge,
    };
    Placement {
        art: ArtId(placed.art.0),
        trim: placed.shape,
        map: map.then(correction),
        fit: match job.fit.unwrap_or_default() {
            // What does not fit was refused; what is left is less than a cut is good for.
            Fit::Refuse | Fit::Fill => Fitted::Fill,
            Fit::Whole => Fitted::Whole,
            Fit::Distort => Fitted::Distort,
        },
        bleed: Bleed {
            wanted: own_edges(placed, &map),
            by: Edges::all(by),
        },
        overlays: job
            .thicken_border
            .map(|width| border(placed.shape, width.to_mm()))
            .into_iter()
            .collect(),
    }
}

/// A border of even width along the cut, whose inner corners follow the outer ones.
fn border(shape: Shape, width: f64) -> Overlay {
    let outer = match shape {
        Shape::Rect { corner_radius, .. } => corner_radius,
        _ => 0.0,
    };
    Overlay::Border {
        width,
        corner_radius: (outer - width).max(0.0),
        colour: None,
    }
}

/// The bleed at the edges of the art as it stands upright, from that at the edges of the sheet:
/// each edge of the art lies at the edge of the sheet that its outward direction points to.
fn own_edges<F: Frame>(placed: &Placed<F>, map: &Affine<Page>) -> Edges<f64> {
    let lies = |x: f64, y: f64| {
        let towards = map.apply_vector(Vector::new(x, y));
        match (
            towards.x.abs() > towards.y.abs(),
            towards.x > 0.0,
            towards.y > 0.0,
        ) {
            (true, true, _) => placed.bleed.right,
            (true, false, _) => placed.bleed.left,
            (false, _, true) => placed.bleed.bottom,
            (false, _, false) => placed.bleed.top,
        }
    };
    Edges {
        left: lies(-1.0, 0.0),
        top: lies(0.0, -1.0),
        right: lies(1.0, 0.0),
        bottom: lies(0.0, 1.0),
    }
}

/// Where the printed page is cut. The knife goes where it was planned, and the printer brings a
/// corrected page there: on the page itself the boxes lie around the cards, as ISO 32000 has it.
fn boxes<F: Frame>(placed: &[Placed<F>], correction: &Affine<Page>) -> Option<Boxes> {
    let corrected = |rect: Rect<F>| {
        let corner = Point::new(rect.min.x, rect.min.y);
        Rect::<Page>::at(corner, rect.size())
            .corners()
            .map(|corner| correction.apply(corner))
    };
    let around = |rects: &mut dyn Iterator<Item = Rect<F>>| {
        let point = |p: Point<Page>| Rect { min: p, max: p };
        rects.flat_map(corrected).map(point).reduce(|a, b| Rect {
            min: Point::new(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
            max: Point::new(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
        })
    };
    Some(Boxes {
        trim: around(&mut placed.iter().map(|placed| placed.trim))?,
        bleed: around(&mut placed.iter().map(Placed::bleed_box))?,
    })
}
