// Sorts and filters tables and moves the sliders of the timelines. Nothing is fetched or stored.
(function () {
  "use strict";

  function each(list, act) { Array.prototype.forEach.call(list, act); }

  // The number that a cell begins with; NaN where it begins with none.
  function number(text) {
    var found = text.replace(/\u2212/g, "-").match(/^[^0-9a-zA-Z-]*(-?[0-9]+(\.[0-9]+)?)/);
    return found ? parseFloat(found[1]) : NaN;
  }

  function sort(table, column, down) {
    var body = table.tBodies[0];
    var rows = Array.prototype.map.call(body.rows, function (row, at) {
      var text = row.cells[column].textContent.trim();
      return { row: row, text: text, number: number(text), at: at };
    });
    var numeric = table.tHead.rows[0].cells[column].classList.contains("n");
    rows.sort(function (a, b) {
      var order = 0;
      if (numeric) {
        if (isNaN(a.number) || isNaN(b.number)) {
          order = (isNaN(a.number) ? 1 : 0) - (isNaN(b.number) ? 1 : 0);
          if (order !== 0) { return order; }
        } else {
          order = a.number - b.number;
        }
      } else {
        order = a.text.localeCompare(b.text, "en");
      }
      return (down ? -order : order) || a.at - b.at;
    });
    rows.forEach(function (entry) { body.appendChild(entry.row); });
  }

  function makeSortable(table) {
    each(table.tHead.rows[0].cells, function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.textContent = head.textContent;
      head.textContent = "";
      head.appendChild(button);
      button.addEventListener("click", function () {
        var down = head.getAttribute("aria-sort") === "ascending";
        each(table.tHead.rows[0].cells, function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        sort(table, column, down);
      });
    });
  }

  function makeFilter(table, place) {
    var label = document.createElement("label");
    var field = document.createElement("input");
    var told = document.createElement("span");
    label.className = "filter";
    told.setAttribute("role", "status");
    field.type = "search";
    label.appendChild(document.createTextNode("Show rows with "));
    label.appendChild(field);
    label.appendChild(told);
    place.parentNode.insertBefore(label, place);
    field.addEventListener("input", function () {
      var wanted = field.value.trim().toLowerCase(), shown = 0;
      each(table.tBodies[0].rows, function (row) {
        var fits = row.textContent.toLowerCase().indexOf(wanted) >= 0;
        row.hidden = !fits;
        shown += fits ? 1 : 0;
      });
      told.textContent = wanted ? " " + shown + " of " + table.tBodies[0].rows.length : "";
    });
  }

  each(document.querySelectorAll("table.data"), function (table) {
    var rows = table.tBodies[0].rows.length;
    if (rows > 2) { makeSortable(table); }
    if (rows > 8) { makeFilter(table, table.parentNode); }
  });

  function text(value) {
    var size = Math.abs(value);
    var shown = value.toFixed(size >= 100 ? 0 : size >= 10 ? 1 : 2);
    return parseFloat(shown) === 0 ? "0" : shown.replace("-", "\u2212");
  }

  function makeSlider(motion) {
    var data = JSON.parse(motion.querySelector("script.moments").textContent);
    var picture = motion.querySelector("figure svg");
    var levers = motion.querySelector(".pair svg");
    var left = parseFloat(motion.dataset.left), width = parseFloat(motion.dataset.width);
    var line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "cursor");
    line.setAttribute("y1", "56");
    line.setAttribute("y2", motion.dataset.bottom);
    picture.appendChild(line);
    var place = motion.querySelector(".scrub");
    var label = document.createElement("label");
    var slider = document.createElement("input");
    var told = document.createElement("output");
    slider.type = "range";
    slider.min = 0;
    slider.max = data.t.length - 1;
    slider.value = 0;
    label.appendChild(document.createTextNode("Moment "));
    label.appendChild(slider);
    place.appendChild(label);
    place.appendChild(told);
    data.steps.forEach(function (step, i) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = (i + 1) + " " + step[1];
      button.addEventListener("click", function () {
        var at = 0;
        while (at < data.t.length - 1 && data.t[at] < step[0]) { at += 1; }
        slider.value = at;
        show(at);
      });
      place.appendChild(button);
    });
    place.hidden = false;
    var cells = motion.querySelectorAll(".readout .value");
    var states = motion.querySelectorAll(".readout .state");

    function up(rpm) {
      return data.top + data.height * (data.high - rpm) / (data.high - data.low);
    }

    function moveLevers(speeds) {
      each(levers.querySelectorAll("[data-dot]"), function (dot) {
        dot.setAttribute("y", up(speeds[+dot.dataset.dot]) - 4.5);
      });
      each(levers.querySelectorAll("[data-drop]"), function (drop) {
        drop.setAttribute("y2", up(speeds[+drop.dataset.drop]));
      });
      each(levers.querySelectorAll("[data-speed]"), function (speed) {
        var rpm = speeds[+speed.dataset.speed];
        speed.setAttribute("y", up(rpm) - 9);
        speed.textContent = String(Math.round(rpm)).replace("-", "\u2212");
      });
      each(levers.querySelectorAll("[data-lever]"), function (bar) {
        var ends = bar.dataset.lever.split(" ").map(function (pair) {
          var parts = pair.split(":");
          return parts[1] + " " + up(speeds[+parts[0]]);
        });
        bar.setAttribute("d", "M" + ends[0] + "L" + ends[2]);
      });
    }

    function show(at) {
      var values = data.values[at];
      var x = left + width * Math.min(1, data.t[at] / data.duration);
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      var step = data.steps.filter(function (s) { return s[0] <= data.t[at] + 1e-9; }).length;
      var words = data.t[at].toFixed(2) + " s" +
        (step ? ", since step " + step + ": " + data.steps[step - 1][1] : ", before the first step");
      told.textContent = words;
      slider.setAttribute("aria-valuetext", words);
      each(motion.querySelectorAll(".when"), function (when) { when.textContent = "at " + words; });
      each(cells, function (cell, i) { cell.textContent = text(values[i]); });
      each(states, function (cell, i) {
        var lane = data.lanes[at].substr(3 * i, 3);
        cell.textContent = [0, 1, 2].map(function (k) { return data.words[k][+lane[k]]; }).join(", ");
      });
      moveLevers(values.slice(1, 1 + data.shafts));
      // On a narrow screen the picture is wider than its frame: keep the line in sight.
      var frame = picture.parentNode;
      var scale = picture.getBoundingClientRect().width / picture.viewBox.baseVal.width;
      if (frame.scrollWidth > frame.clientWidth) {
        frame.scrollLeft = x * scale - frame.clientWidth / 2;
      }
    }

    slider.addEventListener("input", function () { show(+slider.value); });
    show(0);
  }

  each(document.querySelectorAll(".motion"), makeSlider);
})();
