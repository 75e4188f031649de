// After a refused form the keyboard starts at the list of what is wrong.
const summary = document.querySelector("[data-focus]");
if (summary) summary.focus();
