/* Forms that ask a page: what is typed becomes the page's address, without loading it anew. */
(function () {
  "use strict";

  function address(form) {
    var query = new URLSearchParams(window.location.search);
    (form.getAttribute("data-drops") || "").split(" ").forEach(function (name) {
      query.delete(name);
    });
    Array.prototype.forEach.call(form.querySelectorAll("input[name], select[name]"), function (one) {
      var text = one.value.trim();
      if (text) {
        query.set(one.name, text);
      } else {
        query.delete(one.name);
      }
    });
    return query.toString();
  }

  document.addEventListener("submit", function (event) {
    var form = event.target;
    var path = form.getAttribute("data-ask");
    if (!path || !window.dash_clientside || !window.dash_clientside.set_props) {
      return; /* the browser sends the form by itself */
    }
    event.preventDefault();
    var query = address(form);
    var props = { search: query ? "?" + query : "" };
    if (path !== window.location.pathname) {
      props.pathname = path; /* said without need, it would lay the whole page out anew */
    }
    window.dash_clientside.set_props("shell-url", props);
  });
})();
