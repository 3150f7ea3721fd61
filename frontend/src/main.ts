// Entry of the browser code. Each page works without it; here only come dragging, live answers and small comforts.
// No clinical formula lives here: a pointer becomes the value of a control, and the server answers.
import "htmx.org/dist/htmx.esm.js";
import { listenAhead } from "./ahead";
import { listenToControls } from "./controls";
import { listenToHandles } from "./handles";
import { startDevice } from "./device";
import { listenToEntry } from "./entry";
import { keepPlace } from "./keep";
import { listenToOthers } from "./live";
import { startOutbox } from "./outbox";
import { listenInTheatre } from "./theatre";
import { listenToFoldouts } from "./look";
import { listenToWeights } from "./weigh";

listenToControls();
listenToHandles();
listenToFoldouts();
listenAhead();
keepPlace();
listenToEntry();
listenInTheatre();
listenToWeights();
listenToOthers();
void startOutbox();
void startDevice();
