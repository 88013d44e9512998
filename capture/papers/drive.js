/* Drives the way to a site on the map, a second at a time: what is in view, what is passed.
   Every string that arrives here was escaped by the Python side. */
(function () {
  "use strict";
  var SCALE = 10000000;
  var INK = "#1f2d36", SEEN = "#3f6b2a", HIDDEN = "#a23b16", CAR = "#6d3a72";
  var STEP_MS = 700, WIDE = 300, ROW = 13;

  function unpack(flat) {
    var line = [], lat = 0, lon = 0;
    for (var i = 0; i + 1 < flat.length; i += 2) {
      lat += flat[i];
      lon += flat[i + 1];
      line.push([lat / SCALE, lon / SCALE]);
    }
    return line;
  }

  function make(tag, name, inside) { return L.DomUtil.create(tag, name, inside); }

  function carIcon(turn) {
    return L.divIcon({ className: "site-mark", iconSize: [30, 30], iconAnchor: [15, 15],
      html: "<svg xmlns='http://www.w3.org/2000/svg' width='30' height='30' viewBox='-15 -15 30 30'" +
        " aria-hidden='true'><g transform='rotate(" + turn + ")'><rect x='-6' y='-11' width='12'" +
        " height='22' rx='4' fill='" + CAR + "' stroke='#fff' stroke-width='2'/>" +
        "<rect x='-4' y='-6' width='8' height='4' fill='#fff'/></g></svg>" });
  }

  function eventIcon(number) {
    return L.divIcon({ className: "site-mark", iconSize: [22, 22], iconAnchor: [11, 11],
      html: "<svg xmlns='http://www.w3.org/2000/svg' width='22' height='22' viewBox='-11 -11 22 22'" +
        " aria-hidden='true'><path d='M0 -10 L10 0 L0 10 L-10 0 Z' fill='#fff' stroke='" + CAR +
        "' stroke-width='2'/><text y='4' text-anchor='middle' font-size='11' font-weight='700'" +
        " font-family='sans-serif' fill='" + INK + "'>" + number + "</text></svg>" });
  }

  /* filled where a thing is in view, an open box where it is hidden; a rule for the moment */
  function strip(way, names) {
    var count = way.view.length, rows = "";
    names.forEach(function (name, k) {
      var y = 4 + k * (ROW + 5), at = 0;
      rows += "<rect x='0' y='" + y + "' width='" + WIDE + "' height='" + ROW +
        "' fill='#fff' stroke='" + SEEN + "'/>";
      while (at < count) {
        var to = at;
        while (to < count && way.view[to][k] === way.view[at][k]) { to += 1; }
        if (way.view[at][k] === "1") {
          rows += "<rect x='" + at / count * WIDE + "' y='" + y + "' width='" +
            (to - at) / count * WIDE + "' height='" + ROW + "' fill='" + SEEN + "'/>";
        }
        at = to;
      }
    });
    return "<svg width='100%' viewBox='0 0 " + WIDE + " " + (names.length * (ROW + 5) + 4) +
      "' preserveAspectRatio='none' height='" + (names.length * (ROW + 5) + 4) +
      "' aria-hidden='true'>" + rows + "<line class='site-now' y1='0' y2='100%' stroke='" + INK +
      "' stroke-width='3'/></svg>";
  }

  function Drive(map, plan, box) {
    this.map = map; this.plan = plan; this.box = box; this.group = L.layerGroup();
    this.timer = null;
    this.renderer = L.svg({ padding: 0.3 });
    var still = window.matchMedia && window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.build(still);
    this.choose(0);
  }

  Drive.prototype.build = function (still) {
    var self = this, box = this.box;
    box.innerHTML = "<summary>Drive the approach</summary>";
    if (this.plan.ways.length > 1) {
      var label = make("label", "site-way", box);
      make("span", "", label).textContent = "Coming along ";
      var pick = make("select", "", label);
      this.plan.ways.forEach(function (way, k) {
        var option = make("option", "", pick);
        option.value = k;
        option.innerHTML = way.name;
      });
      pick.addEventListener("change", function () { self.choose(Number(pick.value)); });
    }
    var row = make("div", "site-drive-row", box);
    this.play = make("button", "", row);
    this.play.type = "button";
    this.still = still;
    this.play.addEventListener("click", function () { self.press(); });
    this.slider = make("input", "", row);
    this.slider.type = "range";
    this.slider.min = 0;
    this.slider.setAttribute("aria-label", "Seconds on the way to the driveway");
    this.slider.addEventListener("input", function () { self.stop(); self.show(true); });
    this.chart = make("div", "site-drive-chart", box);
    this.said = make("p", "site-drive-said", box);
    this.said.setAttribute("aria-live", "polite");
    this.list = make("ol", "site-drive-list", box);
    this.list.tabIndex = 0;
    this.list.setAttribute("aria-label", "What happens on the way");
    box.addEventListener("toggle", function () {
      if (box.open) {
        window.siteFold(self.map, ".site-panel");
        self.group.addTo(self.map);
        self.fit();
        self.show(false);
      } else {
        self.stop();
        self.group.remove();
      }
    });
  };

  Drive.prototype.choose = function (k) {
    this.stop();
    this.way = this.plan.ways[k];
    this.line = unpack(this.way.line);
    this.slider.max = this.line.length - 1;
    this.slider.value = 0;
    this.chart.innerHTML = "<div class='site-drive-names'>" + this.plan.names.map(function (name) {
      return "<span>" + name + "</span>";
    }).join("") + "</div>" + strip(this.way, this.plan.names);
    this.list.innerHTML = this.way.events.map(function (event) {
      return "<li>" + event[1] + "</li>";
    }).join("");
    this.draw();
    if (this.box.open) { this.fit(); }
    this.show(false);
  };

  /* the whole way in view, beside the panel or above it */
  Drive.prototype.fit = function () {
    var narrow = this.map.getSize().x < 640, size = [this.box.offsetWidth, this.box.offsetHeight];
    var legend = this.map.getContainer().querySelector(".site-panel[open]");
    var right = legend && !narrow ? legend.offsetWidth + 30 : 40;
    this.map.fitBounds(L.latLngBounds(this.line).extend(L.latLngBounds(this.way.aims)), {
      paddingTopLeft: [narrow ? 40 : size[0] + 30, 40],
      paddingBottomRight: [right, narrow ? size[1] + 30 : 40], maxZoom: 18, animate: false });
  };

  Drive.prototype.draw = function () {
    var group = this.group, line = this.line, renderer = this.renderer;
    group.clearLayers();
    L.polyline(line, { color: CAR, weight: 3, dashArray: "1 7", interactive: false,
      renderer: renderer }).addTo(group);
    this.sight = this.way.aims.map(function () {
      return L.polyline([], { interactive: false, renderer: renderer }).addTo(group);
    });
    this.way.events.forEach(function (event, k) {
      L.marker(line[event[0]], { icon: eventIcon(k + 1), keyboard: false, interactive: false,
        zIndexOffset: 1200 }).addTo(group);
    });
    this.car = L.marker(line[0], { icon: carIcon(0), keyboard: false, interactive: false,
      zIndexOffset: 2000 }).addTo(group);
  };

  Drive.prototype.show = function (follow) {
    var at = Number(this.slider.value), here = this.line[at], way = this.way, self = this;
    var left = this.line.length - 1 - at;
    this.car.setLatLng(here);
    this.car.setIcon(carIcon(way.turn[at]));
    way.aims.forEach(function (aim, k) {
      var seen = way.view[at][k] === "1";
      self.sight[k].setLatLngs([here, aim]);
      self.sight[k].setStyle({ color: seen ? SEEN : HIDDEN, weight: seen ? 3 : 2,
        dashArray: seen ? null : "2 6" });
    });
    var now = this.chart.querySelector(".site-now"), x = (at + 0.5) / this.line.length * WIDE;
    now.setAttribute("x1", x);
    now.setAttribute("x2", x);
    this.said.innerHTML = "<b>" + (left ? left + " s to go" : "At the driveway") + "</b>, " +
      way.far[at] + ". " + way.said[at];
    this.slider.setAttribute("aria-valuetext", this.said.textContent);
    Array.prototype.forEach.call(this.list.children, function (item, k) {
      item.className = way.events[k][0] === at ? "site-drive-now" : way.events[k][0] < at ?
        "site-drive-past" : "";
      if (item.className === "site-drive-now") { self.list.scrollTop = item.offsetTop - 20; }
    });
    if (follow && this.box.open) {
      this.map.panInside(here, { paddingTopLeft: [60, 60], paddingBottomRight: [60, 60],
        animate: false });
    }
    this.label();
  };

  Drive.prototype.label = function () {
    var done = Number(this.slider.value) >= this.line.length - 1;
    this.play.textContent = this.timer ? "Stop" : done ? "Again" : this.still ? "Next second" :
      "Drive";
  };

  Drive.prototype.press = function () {
    if (this.timer) { this.stop(); this.label(); return; }
    if (Number(this.slider.value) >= this.line.length - 1) { this.slider.value = 0; }
    else if (this.still) { this.slider.value = Number(this.slider.value) + 1; }
    var self = this;
    if (!this.still) {
      this.timer = window.setInterval(function () {
        self.slider.value = Number(self.slider.value) + 1;
        if (Number(self.slider.value) >= self.line.length - 1) { self.stop(); }
        self.show(true);
      }, STEP_MS);
    }
    this.show(true);
  };

  Drive.prototype.stop = function () {
    if (this.timer) { window.clearInterval(this.timer); this.timer = null; }
  };

  window.siteDrive = {
    style:
      ".site-drive{background:#fffdf8;color:#1f2d36;border:1px solid #55636b;padding:.4rem .6rem;" +
      "font:13px/1.4 sans-serif;width:20rem;max-width:calc(100vw - 3rem);box-sizing:border-box}" +
      ".site-drive summary{font-weight:700;cursor:pointer}" +
      ".site-drive-row{display:flex;gap:.5rem;align-items:center;margin:.3rem 0}" +
      ".site-drive-row button{font:600 13px sans-serif;padding:.35rem .7rem;min-width:5.5rem;" +
      "background:#a23b16;color:#fff;border:0;cursor:pointer}" +
      ".site-drive-row input{flex:1;min-width:0;accent-color:#a23b16;height:24px}" +
      ".site-drive select{font:13px sans-serif;max-width:100%}" +
      ".site-drive :focus-visible{outline:3px solid #0b6477;outline-offset:2px}" +
      ".site-drive-chart{display:flex;gap:.4rem}.site-drive-chart svg{flex:1;min-width:0}" +
      ".site-drive-names span{display:block;height:13px;line-height:13px;margin:4px 0 5px;" +
      "font-size:11px;white-space:nowrap}" +
      ".site-drive-names span+span{margin-top:0}" +
      ".site-drive-said{margin:.2rem 0;min-height:2.8em}" +
      ".site-drive-list{margin:.2rem 0 0;padding-left:1.4rem;max-height:5.6em;overflow:auto;" +
      "position:relative}" +
      ".site-drive-now{font-weight:700}.site-drive-past{color:#55636b}" +
      "@media(max-width:520px){.site-drive-list{max-height:2.9em}}" +
      "@media print{.site-drive{display:none}}",
    add: function (map, plan) {
      var control = L.control({ position: "bottomleft" });
      control.onAdd = function () {
        var box = make("details", "site-drive");
        L.DomEvent.disableClickPropagation(box);
        L.DomEvent.disableScrollPropagation(box);
        var drive = new Drive(map, plan, box);
        box.open = Boolean(plan.open) && map.getContainer().clientWidth > 560;
        if (box.open) { drive.group.addTo(map); }
        return box;
      };
      control.addTo(map);
    }
  };
})();
