// The phone's list of jobs: what waits is sent from here, too, and what was refused stands here.

import { showKept } from "./kept.js";
import { send } from "./queue.js";

const push = () => send(() => {}).then(showKept);
showKept().then(push);
addEventListener("online", push);
