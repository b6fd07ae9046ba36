#pragma once

// Pursuits of this program's own, beside those inside the libraries.
void take_signals_apart();
