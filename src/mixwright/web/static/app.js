// SPDX-License-Identifier: Apache-2.0
// The page begins here.

import { listen } from "./api.js";
import { byId, el, fill } from "./dom.js";
import { follow } from "./store.js";

follow(["song"], ({ song }) => {
  if (song) fill(byId("main"), el("h1", {}, song.title));
});
listen();
