/* A choice far down a page must not throw the reader back to its top: links in ".stay" keep the place. */
(function () {
  "use strict";

  document.addEventListener(
    "click",
    function (event) {
      var link = event.target instanceof Element ? event.target.closest(".stay a") : null;
      if (link === null || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) {
        return;
      }
      var top = window.scrollY;
      window.setTimeout(function () {
        window.scrollTo(0, top);
      }, 0);
    },
    true
  );
})();
