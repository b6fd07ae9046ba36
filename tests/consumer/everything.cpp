// A user's file that asks for all of the library.
#include "echosieve/echosieve.hpp"
