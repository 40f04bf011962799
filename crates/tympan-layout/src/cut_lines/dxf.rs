//! Cut lines as DXF, release 12 in ASCII: the oldest form, which every cutting program reads.
//!
//! y runs up there and the origin is the sheet's lower left corner. Release 12 cannot say its
//! unit: the file is in millimetres, as its comment says, and programs ask or assume so.

use tympan_sheet::{Front, Point};

use super::{ARM, CutLines, Edge, NOTE, Outline};

/// Bulge of a quarter circle: the tangent of a quarter of its angle, negative where it turns
/// clockwise (DXF reference, group code 42 of VERTEX).
const QUARTER: f64 = -0.414_213_562_373_095_1;

impl CutLines {
    /// The lines as a DXF file: layer `CUT` is to be cut, layer `REGISTER` holds the crosses.
    pub fn dxf(&self) -> String {
        let mut out = Dxf {
            text: String::new(),
            height: self.sheet.h,
        };
        out.pair(999, NOTE);
        out.pair(
            999,
            "Millimetres; origin at the lower left corner of the sheet.",
        );
        out.header(self.sheet.w);
        out.layers();
        out.section("ENTITIES");
        for outline in &self.outlines {
            match outline {
                Outline::Circle { centre, radius } => {
                    out.entity("CIRCLE", "CUT");
                    out.point(0, *centre);
                    out.number(40, *radius);
                }
                Outline::Path(edges) => out.polyline(edges),
            }
        }
        for [a, b] in &self.lines {
            out.line("CUT", *a, *b);
        }
        for corner in &self.arcs {
            // Anticlockwise from start to end, in degrees from x: seen with y up, a clockwise
            // corner runs from its end to its start.
            let angle = |p: Point<Front>| {
                let degrees = (corner.centre.y - p.y)
                    .atan2(p.x - corner.centre.x)
                    .to_degrees();
                (degrees.round() + 360.0) % 360.0
            };
            out.entity("ARC", "CUT");
            out.point(0, corner.centre);
            out.number(40, corner.radius);
            out.number(50, angle(corner.to));
            out.number(51, angle(corner.from));
        }
        for c in &self.crosses {
            let (x, y) = (c.x, c.y);
            out.line("REGISTER", Point::new(x - ARM, y), Point::new(x + ARM, y));
            out.line("REGISTER", Point::new(x, y - ARM), Point::new(x, y + ARM));
        }
        out.pair(0, "ENDSEC");
        out.pair(0, "EOF");
        out.text
    }
}

struct Dxf {
    text: String,
    height: f64,
}

impl Dxf {
    fn pair(&mut self, code: u16, value: &str) {
        self.text.push_str(&format!("{code:>3}\n{value}\n"));
    }

    fn number(&mut self, code: u16, value: f64) {
        self.pair(code, &format!("{:.6}", value + 0.0));
    }

    fn section(&mut self, name: &str) {
        self.pair(0, "SECTION");
        self.pair(2, name);
    }

    fn header(&mut self, width: f64) {
        self.section("HEADER");
        self.pair(9, "$ACADVER");
        self.pair(1, "AC1009");
        for (name, x, y) in [("$EXTMIN", 0.0, 0.0), ("$EXTMAX", width, self.height)] {
            self.pair(9, name);
            self.number(10, x);
            self.number(20, y);
            self.number(30, 0.0);
        }
        self.pair(0, "ENDSEC");
    }

    fn layers(&mut self) {
        self.section("TABLES");
        self.pair(0, "TABLE");
        self.pair(2, "LAYER");
        self.pair(70, "2");
        // Red and white, in the numbering of the format.
        for (name, colour) in [("CUT", "1"), ("REGISTER", "7")] {
            self.pair(0, "LAYER");
            self.pair(2, name);
            self.pair(70, "0");
            self.pair(62, colour);
            self.pair(6, "CONTINUOUS");
        }
        self.pair(0, "ENDTAB");
        self.pair(0, "ENDSEC");
    }

    fn entity(&mut self, kind: &str, layer: &str) {
        self.pair(0, kind);
        self.pair(8, layer);
    }

    /// A point; `which` is 0 for the first, 1 for the second of an entity.
    fn point(&mut self, which: u16, p: Point<Front>) {
        let up = self.height - p.y;
        self.number(10 + which, p.x);
        self.number(20 + which, up);
        self.number(30 + which, 0.0);
    }

    fn line(&mut self, layer: &str, a: Point<Front>, b: Point<Front>) {
        self.entity("LINE", layer);
        self.point(0, a);
        self.point(1, b);
    }

    /// A closed outline; each vertex says how the edge that leaves it is bent.
    fn polyline(&mut self, edges: &[Edge]) {
        self.entity("POLYLINE", "CUT");
        self.pair(66, "1");
        self.point(0, Point::new(0.0, self.height));
        self.pair(70, "1");
        for (i, edge) in edges.iter().enumerate() {
            let before = &edges[(i + edges.len() - 1) % edges.len()];
            let from = match before {
                Edge::Line(to) => *to,
                Edge::Corner(corner) => corner.to,
            };
            self.entity("VERTEX", "CUT");
            self.point(0, from);
            if matches!(edge, Edge::Corner(_)) {
                self.number(42, QUARTER);
            }
        }
        self.entity("SEQEND", "CUT");
    }
}
