"""What the guide says about every job: preparing, soaking, and how to stay unhurt.

Common practice of the bench throughout, no source, except where one is named.
"""

from __future__ import annotations

BEFORE = (
    "Print the trial sheet on plain paper first. Check both scale bars with a ruler, cut the shapes out "
    "and hold them to the model. Paper does not stretch, so a domed piece will gape at its slits; "
    "everything else must fit.",
    "Mend on paper what does not fit, not in film: move a limit in the job, make it again, try again.",
    "The model must be clean, free of grease and glossy. Layer lines of a printed body must be filled and "
    "rubbed down: film bridges every groove that a fingernail can feel.",
    "Handle the printed sheet by its edges, and let it harden for a day before it meets water.",
)

LAYING = (
    "Cut along the outline, with a new blade, on the outside of the line. Slits come last, just before "
    "soaking.",
    "Put a film of water on the model where the piece will lie. Soak the piece as its maker says, until it "
    "moves on its paper; lift it on the paper, never by a corner.",
    "Slide it over, do not pick it up. Find its place with a wet brush while water is still under it: "
    "front arrow to the front, one edge or one line against something that can be seen.",
    "Draw the water out from the middle to the edges with a soft brush, then with the corner of an "
    "absorbent cloth.",
    "Setting solution under and over it helps film to settle on gentle curves. Softening solution makes it "
    "limp: brush it on, then leave the film alone. It will wrinkle and flatten again by itself. Touch it "
    "now and it tears.",
    "Where this guide says that a piece must stretch, soften it first, then brush in the direction given, "
    "a little at a time. Where it must shrink, dab the fullness in with a damp sponge and soften again.",
    "Close slits from the tip to the mouth, edge against edge, as soon as the film is limp.",
    "Let it dry until the film no longer gives under a fingertip before the next piece touches it; "
    "overnight before lacquer.",
)

CAUTIONS = (
    "Solvents. Setting and softening solutions and lacquers may hold alcohols, glycol ethers, acids or "
    "stronger solvents. Read the data sheet of the very bottle in hand; keep sparks, flames, food and "
    "children away; open a window; wear the gloves and glasses that the sheet asks for.",
    "Some strong softeners have held N-methyl-2-pyrrolidone, which may damage the unborn child (H360D, "
    "ECHA brief profile 100.011.662). If the data sheet names it, choose another.",
    "Blades. Cut away from the hand that holds, on a mat, with a fresh blade; change blades with pliers "
    "and put old ones into a sharps tin.",
    "Spraying. Lacquer mist burns, and harms lungs. Spray outdoors or in an extracted booth, away from "
    "anything that can spark or glow, with the breathing protection that the data sheet asks for. Local "
    "rules on spraying and on waste go before this page.",
    "The printer. Feed it only film that its maker rates for that printer's fuser: film that is not may "
    "melt on the hot rolls. Let nobody but trained service open the fuser; it stays hot long after "
    "printing.",
    "Dust. Sanding resin, filler or primer makes dust that does not belong in lungs: wet the paper, wear a "
    "mask rated for fine dust, wipe up instead of sweeping. Resin that is not fully cured irritates skin.",
    "This page knows none of your bottles, machines or rules. Makers' data sheets, local rules and people "
    "licensed for the work go before anything said here.",
)
