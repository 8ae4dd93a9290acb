"use strict";
// The link to the computer: a stream of events.

// Nothing heard for patience, ms, means that the link is lost: a sign of life comes every
// second. Until it is back the stream is opened anew every between.
const patience = 2400, between = 1500;

// listen hears the stream for as long as the page is open. state and beat are told what
// comes, link whether the link is good when that changes, and tick is called four times
// a second. The stream is opened anew here, because the browser's own retries give up on
// some errors.
function listen({ state, beat, link, tick }) {
  let heard = 0, tried = 0, good = false, source = null;
  const say = (now) => { if (good !== now) { good = now; link(good); } };
  function connect() {
    tried = performance.now();
    if (source) source.close();
    source = new EventSource("events");
    for (const [name, take] of Object.entries({ state, beat })) {
      source.addEventListener(name, (e) => {
        heard = performance.now();
        say(true);
        take(JSON.parse(e.data));
      });
    }
  }
  connect();
  setInterval(() => {
    const now = performance.now();
    if (now - heard > patience) {
      say(false);
      if (now - tried > between) connect();
    }
    tick();
  }, 250);
}
