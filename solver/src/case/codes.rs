//! The catalogue of diagnostics: one stable code each, with a text that explains it.
//!
//! Codes are never renumbered nor reused: scripts and people remember them.

/// An entry of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code {
    /// Stable identifier, such as `E012`; warnings start with `W`.
    pub id: &'static str,
    /// The kind of mistake, in a few words.
    pub title: &'static str,
    /// What it means and how to mend it, for `explain`.
    pub text: &'static str,
}

macro_rules! catalogue {
    ($($name:ident = $id:literal, $title:literal, $text:literal;)*) => {
        $(
            #[doc = $title]
            pub const $name: Code = Code { id: $id, title: $title, text: $text };
        )*

        /// Every entry, errors before warnings, in order of code.
        pub const ALL: &[Code] = &[$($name),*];
    };
}

catalogue! {
SYNTAX = "E001", "not valid TOML",
    "The file cannot be read as TOML at the mark. Common slips: text without quotes, a decimal \
comma instead of a point, a missing bracket of [[die]], two values on one line. While the syntax is \
wrong only values that stand clear of it are checked; the rest follows when it is mended.";
DUPLICATE_KEY = "E002", "the same key twice",
    "A table holds each key once. A second [[die]] starts a new die and needs double brackets; a \
second [die] is the same table again.";
UNKNOWN_KEY = "E003", "unknown key",
    "The key means nothing at this place. Keys are case-sensitive and carry their unit: \
thickness_mm, power_W. Unknown keys are errors because a misspelt key would otherwise be ignored \
and the answer would be wrong without a word.";
MISSING_KEY = "E004", "a key is missing",
    "The table marked needs this key. Nothing that changes the answer has a silent default.";
WRONG_TYPE = "E005", "wrong kind of value",
    "Numbers are written bare (power_W = 92.0), text in quotes, positions as [x, y], rectangles as \
[x, y, width, height]. Units stand in the key's name, never in the value.";
NOT_FINITE = "E006", "not a finite number",
    "TOML can write nan and inf, and a number can be too large to hold. A case needs finite \
numbers throughout.";
OUT_OF_RANGE = "E007", "a number out of its physical range",
    "The value lies outside the range that such a quantity can have in this kind of part. The \
ranges are wide; the usual cause is a slip of unit (micrometres in a key in mm, kelvin in a key in \
degrees Celsius, pascal in a key in kPa) or of sign.";
WRONG_WORD = "E008", "a word that is not one of those allowed",
    "Some keys take one of a few words, for example active_face = \"down\" or \"up\". The label \
lists them.";
BAD_NAME = "E009", "an unusable name",
    "Names appear in tables, in CSV cells and in names of picture files. They need a visible \
character, at most 60 of them, no blanks at the ends and none of / \\ : * ? \" < > |.";
DUPLICATE_NAME = "E010", "the same name twice",
    "Layers have names of their own, die and heaters share one set of names, and so do nozzles: \
results are listed by name.";
UNKNOWN_NAME = "E011", "a name that nothing has",
    "The case refers to a material, fluid, die type, die, layer or nozzle type that neither the \
case describes nor, for materials and fluids, the library holds.";
DIE_OFF_MODULE = "E012", "a die reaches over the edge of the module",
    "at_mm is the centre of the die, measured from the lower left corner of the module seen from \
the spray side. A die turned by 90 or 270 degrees swaps its width and height.";
DIE_OVERLAP = "E013", "two die overlap",
    "Two footprints share area. Die may touch but not overlap; the module carries one storey of \
die.";
BLOCK_OUTSIDE_DIE = "E014", "a block reaches outside its die",
    "rect_mm of a block is [x, y, width, height] in the unturned die's own coordinates, from the \
die's lower left corner; turning the die turns its blocks with it.";
BLOCK_OVERLAP = "E015", "two blocks of a die overlap",
    "Blocks share out the power of a die. Where two overlap it would be unclear which power counts.";
BLOCK_POWER = "E016", "the blocks have more power than their die",
    "power_W of the die is the whole; the blocks are part of it, and what they leave spreads over \
the rest of the die.";
BLOCK_POWER_LEFT = "E017", "power is left over with nowhere to go",
    "The blocks cover the whole die but take less than its power, so there is no area left for the \
remainder. Make the block powers add up to the power of the die.";
EXCLUSIVE_KEYS = "E018", "two keys that exclude each other",
    "The two keys say the same thing in different ways, so both together would be ambiguous: blocks \
and power_map, htc_W_m2K and map, rect_mm and over, htc_W_m2K and contacts, accuracy_K and cell_mm.";
HEATER_OFF_MODULE = "E019", "a heater reaches over the edge of the module",
    "rect_mm of a heater is [x, y, width, height] in module coordinates.";
PATCH_OFF_MODULE = "E020", "a patch reaches over the edge of the module",
    "rect_mm of a spray patch is [x, y, width, height] in module coordinates. Use over = \"NAME\" to \
cover a die exactly.";
FILE_UNREADABLE = "E021", "a file that the case names cannot be read",
    "File names are relative to the folder in which the case lies, whatever the working directory.";
GRID_VALUE = "E022", "a bad cell in a CSV grid",
    "Grids hold numbers only, separated by commas, a line a row, the first line the top row. Values \
are finite and not negative. Lines that start with # are comments.";
GRID_RAGGED = "E023", "the rows of a CSV grid differ in length",
    "Every row needs as many numbers as the first.";
GRID_EMPTY = "E024", "a CSV grid without numbers",
    "The file has no line with numbers: it is empty, or every line is blank or a comment.";
GRID_ALL_ZERO = "E025", "a power map of zeros",
    "The values of a power map are relative: the power of the die is spread in proportion to them. \
If all are zero there is no proportion.";
GRID_TOO_LARGE = "E026", "a CSV grid beyond what is read",
    "Grids have at most 4096 values along either side.";
OTHER_MODEL = "E027", "a key that belongs to the other spray model",
    "With model = \"prescribed\" the spray is described by htc_W_m2K or map and by patches; with \
model = \"correlated\" by nozzle types, nozzles and groups. Mixed keys would be ignored, so they are \
refused.";
NO_HEAT_SINK = "E028", "nothing takes the heat away",
    "The coefficients of spray, board and edges are all zero, so there is no steady temperature.";
NO_HEAT_SOURCE = "E029", "there is nothing that can be heated",
    "A case needs at least one die or heater, because results are listed for them.";
CONE_MISSES_PLANE = "E030", "part of a cone never meets the module",
    "A nozzle's tilt and half its cone angle together must stay below 90 degrees, or the outer edge \
of its cone runs parallel to the module or away from it.";
FLUID_TABLE = "E031", "an inconsistent fluid table",
    "A fluid is a table of saturated states: lists of equal length, at least two states, rising in \
temperature and in pressure.";
INLET_SATURATED = "E032", "the liquid would boil in the nozzle",
    "At the chamber pressure the liquid boils at a temperature below its inlet temperature. The \
correlations describe a spray of liquid, not of flashing mixture.";
NO_LAYER = "E033", "a module without layers",
    "A module needs at least one [[module.layer]], listed from the board side up.";
PLATE_WITHOUT_FORCE = "E034", "a backing plate without a force on it",
    "The plate carries the seating force of the contacts. Describe them in [board] with contacts, \
conductance_per_contact_W_K and force_per_contact_N.";
AMBIGUOUS_NAME = "E035", "a name that could mean two things",
    "over = \"NAME\" means a die or every die of a type. If a die and a type share the name it is \
unclear which is meant.";
NO_NOZZLE = "E036", "a correlated spray without nozzles",
    "model = \"correlated\" computes the spray from its nozzles: give [[nozzle]] or [[nozzle_group]].";
BAD_TURN = "E037", "a die turned by something else than quarter turns",
    "turn_deg is 0, 90, 180 or 270, counter-clockwise seen from the spray side.";
RESERVED_NAME = "E038", "a name that the results need for themselves",
    "Each sheet has a picture named after its layer, sheet-NAME.png, and a layer in several sheets \
has NAME-2, NAME-3. The sheets of die and attach are called die and attach. Layer names that would \
collide with these are refused.";
LIBRARY_NAME = "E039", "a name that the library already has",
    "A material or fluid of one's own needs a name of its own, so that no reader of the case takes \
one for the other.";
INCOMPLETE = "E040", "part of a description is missing",
    "Of several keys that can say a thing, or that only work together, too few are given.";
PLATE_MATERIAL = "E041", "the stiffness of the plate is not known",
    "The library knows the stiffness of a few metals. For another material give \
elastic_modulus_GPa and poisson.";
TABLE_HEADING = "E042", "a heading of a table that is not understood",
    "A table of die or nozzles is a CSV file: a line of headings, a row of units where the headings \
do not hold them, then a row a part. Die have the columns name, type, x_mm, y_mm, power_W and, if \
wanted, turn_deg and power_map; nozzles have name, type, x_mm, y_mm, standoff_mm and, if wanted, \
tilt_x_deg, tilt_y_deg and flow_factor. A column whose heading starts with # is left alone.";
TABLE_UNIT = "E043", "a unit of a table that is missing or another one",
    "The unit of each column of numbers stands in its heading, x_mm, or in the row below the \
headings, mm under x. It is checked and never converted: lengths are mm, powers W, angles deg; \
names and plain factors have none (leave the cell blank or write -).";
TABLE_CELL = "E044", "a bad cell in a table",
    "Numbers are written with a decimal point and without their unit, cells are separated by \
commas, and every row has a cell for each heading; a cell that holds a comma stands in quotes. A \
cell may be blank where its key may be left out.";
TABLE_EMPTY = "E045", "a table without rows",
    "The file has headings only, or nothing at all. A table of die or nozzles has a row for each.";
TOO_MANY = "E046", "more parts than a case may have",
    "A list of tables ([[die]], [[nozzle]], [[sensor]] and the like) has at most 4096 entries, and the \
groups make at most 20000 nozzles. More is a slip of whatever wrote the case.";
NO_CAPACITY = "E050", "a material that cannot store heat",
    "A run over time needs the density and the specific heat of every material. Those of the library \
have them; one of your own needs density_kg_m3 and specific_heat_J_kgK when the case has a [cycle].";
CYCLE_TIMES = "E051", "times of a profile that make no sense",
    "time_s of a profile starts at 0, rises, stays within period_s and has as many entries as there \
are values. A ramp may state a time twice: there it jumps. snapshots_s count from the start of the \
run and stay within it.";
CYCLE_TRACE = "E052", "a recorded profile that cannot be read",
    "A trace is a CSV file with one line of headings: time_s, then \"NAME power_W\" or \
\"NAME factor\" for a die, a die type, a heater or the module, and \"coolant flow_factor\", \
\"coolant htc_factor\" or \"coolant inlet_C\". The unit stands in the heading.";
CYCLE_TWICE = "E053", "two profiles for one thing",
    "A die's own profile goes before that of its type, which goes before that of the module. Two \
for the same name leave it open which is meant.";
SENSOR_OFF = "E060", "a sensor beside the part that it measures",
    "offset_mm counts from the centre of the die, in the axes of the unturned die; at_mm of a sensor on a \
layer counts from the lower left corner of the module. Both must lie on the face that is named.";
PROFILE = "E061", "a profile of temperatures that makes no sense",
    "The hot end of a cycle lies above its cold end, and a dwell is a part of its cycle.";
HISTORY = "E062", "a history that is not one of this module",
    "A history is a CSV file with one line of headings, time_s and \"NAME junction_max_C\" for every die \
and heater, and a row a time: the history.csv of a run over time, or a logger's table with the same \
headings. It holds one period, which repeats.";
ARRANGE_BOUNDS = "E070", "bounds that no nozzle pattern can keep",
    "[arrange] bounds what a better pattern may do: ranges are written [lowest, highest], and the \
flow of all nozzles together must be enough for each at its lowest flow_factor.";
UNUSED = "W001", "something is described and never used",
    "A material, die type, nozzle type or fluid is described but nothing refers to it; perhaps a \
name is misspelt elsewhere.";
HIGH_FLUX = "W002", "an unusually high heat flux",
    "More than 200 W/cm² over a whole die or heater is above what most sprays of dielectric liquid \
can carry, and more than 1000 W/cm² in a block is above what most circuits release. Check the power \
and the area.";
THICK_DIE = "W003", "a die thicker than it is wide",
    "Die are plates, some 0.05 to 1 mm thick. A size in the wrong unit is the usual cause.";
WEAK_SPRAY = "W004", "a spray coefficient at the level of still or gently moving air",
    "Below about 200 W/(m²·K) there is no liquid at work: sprays give some 1000 to 100000.";
ODD_CONDUCTIVITY = "W005", "a conductivity far from the library's for a like-named material",
    "The material's name resembles one in the library, but the conductivity differs by more than a \
factor of three. Films, alloys and doping lower conductivity; a factor of ten is usually a slip.";
SLENDER = "W006", "an extreme shape",
    "A part is more than twenty times as long as it is wide, or a layer is thicker than the module \
is wide. Sizes in the wrong order or unit are the usual cause.";
NO_POWER = "W007", "no power at all",
    "Every die and heater has zero power, so the module only takes the temperatures around it.";
LIMIT_BELOW_COOLANT = "W008", "a limit that cannot be kept",
    "The limit lies at or below the temperature of everything that cools the part.";
TOO_HOT = "W009", "the coolant cannot carry this heat",
    "Even with perfect spreading the mean temperature would be far above anything that parts \
survive. Check power and coefficients.";
NOZZLE_MISSES = "W010", "a nozzle that does not hit the module",
    "The whole cone lands beside the module. Positions of nozzles are in module coordinates, seen \
from above.";
NARROW_GAP = "W011", "a very narrow gap between two die",
    "The die do not touch but stand closer than 0.05 mm, less than placement allows; a slip in a \
position is likely.";
HEATER_OVERLAP = "W012", "two heaters overlap",
    "Two heaters on the same face share area; their powers add there.";
FLUID_RANGE = "W013", "the fluid is used outside its table",
    "Properties outside the table of a fluid are extrapolated, which is rarely accurate.";
DRY_DIE = "W014", "a die that no nozzle reaches",
    "No cone touches the die, so no drop lands on it: what it releases leaves through its neighbours \
and the substrate, or into vapour (unwetted_htc_W_m2K). Check positions, cone angles and stand-offs.";
SPRAY_WASTED = "W015", "a nozzle whose spray mostly misses the module",
    "Less than half of the nozzle's liquid lands on the module. Positions of nozzles are in module \
coordinates, seen from above; the footprint of a cone grows with stand-off and cone angle.";
DISCHARGE = "W016", "flow, orifice and pressure drop that do not fit together",
    "The three imply a discharge coefficient Cd = Q / (pi/4 d² sqrt(2 dP / rho)), with the flow Q, \
the orifice diameter d, the pressure drop dP and the density rho of the liquid at the inlet \
(Bernoulli's equation for an orifice, textbook). Above 1 the drops would carry more energy than the \
pressure gives; nozzles have some 0.3 to 1 (common practice, no source). The sizes of drops follow \
from orifice and pressure drop, the cooling from the flow, so that a slip in one of them bends the \
answer.";
ODD_PRESSURE = "W017", "a pressure that looks like one in another unit",
    "Pressures are in kPa, the chamber's absolute: 1 bar is 100 kPa, one atmosphere 101.325 kPa. \
Nozzles take some 10 to 3000 kPa; a chamber below 5 kPa is close to a vacuum.";
}

/// The entry with this code; upper or lower case.
pub fn by_id(id: &str) -> Option<&'static Code> {
    ALL.iter().find(|code| code.id.eq_ignore_ascii_case(id.trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_ascending_and_explained() {
        for pair in ALL.windows(2) {
            assert!(pair[0].id < pair[1].id, "{} before {}", pair[0].id, pair[1].id);
        }
        for code in ALL {
            assert!(code.text.len() > 40 && !code.title.is_empty(), "{}", code.id);
            assert_eq!(by_id(&code.id.to_lowercase()), Some(code));
        }
    }
}
